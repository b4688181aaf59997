// Every constraint of the R4 package compiles, and runs on resources that are right.

#include <filesystem>
#include <fstream>
#include <string>

#include <gtest/gtest.h>

#include "tests/fhirpath/fixture.h"

namespace engine::fhirpath::testing {
namespace {

TEST(FhirpathInvariants, AllCompile) {
  std::size_t compiled = 0;
  for (std::size_t i = 0; i < catalog().constraint_count(); ++i) {
    const shapes::Constraint& constraint =
        catalog().constraint(static_cast<shapes::ConstraintId>(i));
    if (constraint.expression.empty()) {
      continue;
    }
    // The %extension variable stands in contexts of extensions only.
    const VariableDeclaration extension{"extension", types().extension()};
    Options options{.types = &types()};
    options.as_filters = true;
    options.variables = {&extension, 1};
    const auto expression = compile(constraint.expression, options);
    EXPECT_TRUE(expression.has_value()) << constraint.key << ": " << constraint.expression << '\n'
                                        << (expression ? "" : expression.error().text());
    compiled += expression.has_value() ? 1U : 0U;
  }
  EXPECT_GT(compiled, 200U);  // 248 different ones
}

// The keys of the constraints of a resource's type that give an error or are definitely broken.
std::string broken_constraints(const json::Document& document) {
  const Item focus = types().resource(*document.root());
  std::string broken;
  Workspace workspace;
  for (const shapes::ConstraintId id : catalog().type_constraints(focus.type)) {
    const shapes::Constraint& constraint = catalog().constraint(id);
    if (constraint.expression.empty() || constraint.best_practice) {
      continue;
    }
    Options options{.types = &types()};
    options.as_filters = true;
    options.context_type = focus.type;
    const auto expression = compile(constraint.expression, options);
    Context context;
    context.focus = {&focus, 1};
    context.now = kNow;
    const auto truth = expression->evaluate_boolean(context, workspace);
    if (!truth) {
      broken += std::string(constraint.key) + ": " + truth.error().text() + '\n';
    } else if (*truth == Truth::kFalse && constraint.is_error) {
      broken += std::string(constraint.key) + " is false\n";
    }
  }
  return broken;
}

TEST(FhirpathInvariants, HoldOnResourcesThatAreRight) {
  for (const std::string_view text : {kPatient, kObservation, kBundle, kQuestionnaire}) {
    json::Document document(catalog().names());
    ASSERT_TRUE(document.parse(text).has_value());
    EXPECT_EQ(broken_constraints(document), "") << text;
  }
}

TEST(FhirpathInvariants, AreBrokenByResourcesThatAreWrong) {
  struct Wrong {
    std::string_view text;
    std::string_view key;
  };
  constexpr Wrong kWrong[] = {
      {R"({"resourceType": "Observation", "status": "final", "code": {"text": "x"}, "valueInteger": 1,
           "dataAbsentReason": {"text": "none"}})",
       "obs-6 is false"},
      {R"({"resourceType": "Observation", "status": "final", "code": {"coding": [{"code": "a"}]},
           "valueInteger": 1, "component": [{"code": {"coding": [{"code": "a"}]}}]})",
       "obs-7 is false"},
      {R"({"resourceType": "Patient", "contained": [{"resourceType": "Organization", "id": "o"}]})",
       "dom-3 is false"},
      {R"({"resourceType": "Bundle", "type": "collection", "total": 1})", "bdl-1 is false"},
      {R"({"resourceType": "Questionnaire", "status": "draft", "item": [{"linkId": "1"}, {"linkId": "1"}]})",
       "que-2 is false"},
  };
  for (const Wrong& wrong : kWrong) {
    json::Document document(catalog().names());
    ASSERT_TRUE(document.parse(wrong.text).has_value());
    EXPECT_NE(broken_constraints(document).find(wrong.key), std::string::npos) << wrong.text;
  }
}

TEST(FhirpathInvariants, HoldOnThePublishedExamples) {
  std::ifstream lines("../shared/conformance/examples/valid-r4.ndjson");
  if (!lines) {
    GTEST_SKIP() << "the published examples are not here";
  }
  for (std::string line; std::getline(lines, line);) {
    json::Document document(catalog().names());
    ASSERT_TRUE(document.parse(line).has_value());
    const json::Node* resource = document.root()->find("resource");
    ASSERT_NE(resource, nullptr);
    json::Document alone(catalog().names());
    alone.set_root(alone.copy(*resource));
    EXPECT_EQ(broken_constraints(alone), "") << document.root()->string_at("name");
  }
}

}  // namespace
}  // namespace engine::fhirpath::testing
