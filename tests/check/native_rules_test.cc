// Each invariant that runs in C++ says what its FHIRPath form says: on right resources and on
// thousands of wrong ones.

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <set>
#include <sstream>

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "engine/check/rules.h"
#include "tests/check/r4.h"
#include "tests/mutation/mutations.h"

namespace engine::check {
namespace {

// "obs-6 Observation" of every invariant that a native rule exists for. Rules speak of resources
// whose form is right; of others the two ways may see different parts.
std::set<std::string> broken(const Checker& checker, const json::Node& root, Scratch& scratch) {
  std::set<std::string> out;
  for (const fhir::Issue& issue : checker.check(root, {}, scratch)) {
    if (issue.code == "structure" || issue.code == "invalid") {
      return {};
    }
    for (const NativeRule& rule : native_rules()) {
      if (rule.holds != nullptr && rule.key == issue.rule && issue.code == "invariant") {
        out.insert(issue.rule + " " + issue.expression);
      }
    }
  }
  return out;
}

TEST(NativeRules, SayWhatTheirFhirPathFormSays) {
  const Checker reference(testing_r4::catalog(), Evaluation::kFhirPath);
  Scratch scratch;
  json::Document document(testing_r4::catalog().names());
  std::set<std::string> keys;
  for (const auto& file : std::filesystem::directory_iterator("tests/mutation/examples")) {
    std::ifstream stream(file.path());
    std::stringstream text;
    text << stream.rdbuf();
    json::Document original(testing_r4::catalog().names());
    ASSERT_TRUE(original.parse(text.str()));
    for (const std::span<const mutation::Mutation> mutations :
         {mutation::form_mutations(), mutation::rule_mutations()}) {
      for (const mutation::Mutation& each : mutations) {
        std::size_t made = 0;
        for (const mutation::Site& site :
             mutation::sites_of(*original.root(), testing_r4::catalog())) {
          constexpr std::size_t kSitesMax = 6;
          const std::optional<mutation::Edits> edits = each.spoil(site, testing_r4::catalog());
          if (!edits || ++made > kSitesMax) {
            continue;
          }
          ASSERT_TRUE(document.parse(mutation::print(*original.root(), *edits)));
          const std::set<std::string> native =
              broken(testing_r4::checker(), *document.root(), scratch);
          EXPECT_EQ(native, broken(reference, *document.root(), scratch))
              << each.name << " in " << file.path();
          for (const std::string& one : native) {
            keys.insert(one.substr(0, one.find(' ')));
          }
        }
      }
    }
  }
  // The comparison means something only where rules break.
  EXPECT_GE(keys.size(), 12U);
}

// FHIR R4 Bundle, bdl-3, bdl-4 and bdl-8: by type, with entries that have and have not what it
// asks.
TEST(NativeRules, SayOfBundlesWhatTheirFhirPathFormSays) {
  const Checker reference(testing_r4::catalog(), Evaluation::kFhirPath);
  Scratch scratch;
  json::Document document(testing_r4::catalog().names());
  const std::string resource = R"("resource":{"resourceType":"Basic","code":{"text":"x"}})";
  const std::string request = R"("request":{"method":"POST","url":"Basic"})";
  const std::string response = R"("response":{"status":"200"})";
  const std::string entries[] = {
      "",
      "{" + resource + "}",
      "{" + resource + "," + request + "}",
      "{" + resource + "," + response + "}",
      "{" + resource + "," + request + "," + response + "}",
      "{" + resource + "," + request + "},{" + resource + "}",
      R"({"fullUrl":"http://example.org/Basic/1/_history/2",)" + resource + "}",
      R"({"_fullUrl":{"extension":[{"url":"http://example.org/x","valueString":"x"}]},)" +
          resource + "}",
  };
  std::set<std::string> keys;
  for (const char* type : {"collection", "batch", "transaction", "history", "batch-response",
                           "transaction-response", "searchset", "", "nothing"}) {
    for (const std::string& entry : entries) {
      std::string text = R"({"resourceType":"Bundle")";
      text += *type == '\0' ? "" : R"(,"type":")" + std::string(type) + "\"";
      text += entry.empty() ? "}" : R"(,"entry":[)" + entry + "]}";
      ASSERT_TRUE(document.parse(text));
      const std::set<std::string> native = broken(testing_r4::checker(), *document.root(), scratch);
      EXPECT_EQ(native, broken(reference, *document.root(), scratch)) << text;
      for (const std::string& one : native) {
        keys.insert(one.substr(0, one.find(' ')));
      }
    }
  }
  for (const char* key : {"bdl-3", "bdl-4", "bdl-8"}) {
    EXPECT_EQ(keys.count(key), 1U) << key;
  }
}

// bdl-7 has no native form: it must not reach the step limit in a Bundle as long as they may be.
TEST(Invariants, AddressesOfALargeBundleAreComparedToTheEnd) {
  struct Case {
    const char* type;
    const char* last;
    bool breaks;
  };
  const Case cases[] = {
      {"collection", R"("fullUrl":"urn:x:0","resource":{"resourceType":"Basic"})", true},
      {"history", R"("fullUrl":"urn:x:0","resource":{"resourceType":"Basic"})", false},
      {"collection", R"("fullUrl":"urn:x:last","resource":{"resourceType":"Basic"})", false},
      {"collection",
       R"("fullUrl":"urn:x:0","resource":{"resourceType":"Basic","meta":{"versionId":"v2"}})",
       false},
      {"collection", R"("resource":{"resourceType":"Basic"})", false},
  };
  constexpr std::size_t kEntries = base::limits::kJsonArrayItemsMax - 1;
  std::string entries;
  for (std::size_t i = 0; i < kEntries; ++i) {
    entries += R"({"fullUrl":"urn:x:)" + std::to_string(i) +
               R"(","resource":{"resourceType":"Basic","code":{"text":"x"}}},)";
  }
  Options options;
  options.notes = false;
  Scratch scratch;
  json::Document document(testing_r4::catalog().names());
  for (const Case& c : cases) {
    ASSERT_TRUE(document.parse(std::string(R"({"resourceType":"Bundle","type":")") + c.type +
                               R"(","entry":[)" + entries + "{" + c.last + "}]}"));
    std::size_t found = 0;
    for (const fhir::Issue& issue :
         testing_r4::checker().check(*document.root(), options, scratch)) {
      found += issue.rule == "bdl-7" && issue.severity == fhir::Severity::kError ? 1U : 0U;
      EXPECT_FALSE(issue.rule == "bdl-7" && issue.code == "exception") << issue.text;
    }
    EXPECT_EQ(found, c.breaks ? 1U : 0U) << c.last;
  }
}

TEST(NativeRules, EveryExpressionIsThatOfAPublishedConstraint) {
  const shapes::Catalog& catalog = testing_r4::catalog();
  for (const NativeRule& rule : native_rules()) {
    bool found = false;
    for (std::size_t i = 0; i < catalog.constraint_count(); ++i) {
      const shapes::Constraint& constraint =
          catalog.constraint(static_cast<shapes::ConstraintId>(i));
      found = found || (constraint.key == rule.key && constraint.expression == rule.expression);
    }
    EXPECT_TRUE(found) << rule.key;
  }
}

TEST(Mends, ReplacePublishedExpressionsByOnesThatCompile) {
  const shapes::Catalog& catalog = testing_r4::catalog();
  const Rules rules(catalog, true);
  for (const Mend& mend : mends()) {
    bool found = false;
    for (std::size_t i = 0; i < catalog.constraint_count(); ++i) {
      const auto id = static_cast<shapes::ConstraintId>(i);
      if (catalog.constraint(id).key == mend.key &&
          catalog.constraint(id).expression == mend.published) {
        found = true;
        EXPECT_NE(rules.expression(id), nullptr) << mend.key << ": " << rules.why_not(id);
      }
    }
    EXPECT_TRUE(found) << mend.key;
  }
}

TEST(Mends, EveryPublishedConstraintCompiles) {
  const shapes::Catalog& catalog = testing_r4::catalog();
  const Rules rules(catalog, true);
  for (std::size_t i = 0; i < catalog.constraint_count(); ++i) {
    const auto id = static_cast<shapes::ConstraintId>(i);
    if (!catalog.constraint(id).expression.empty()) {
      EXPECT_NE(rules.expression(id), nullptr)
          << catalog.constraint(id).key << ": " << rules.why_not(id);
    }
  }
}

}  // namespace
}  // namespace engine::check
