// Every kind of wrong resource is caught wherever it can be made in the examples, and the examples
// themselves raise nothing.

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>

#include "engine/check/check.h"
#include "engine/json/write.h"
#include "tests/check/r4.h"
#include "tests/mutation/mutations.h"

namespace mutation {
namespace {

namespace check = engine::check;
namespace fhir = engine::fhir;
namespace json = engine::json;

struct Example {
  std::string name;
  json::Document document;
};

std::vector<Example> read_examples() {
  std::vector<std::string> paths;
  for (const auto& each : std::filesystem::directory_iterator("tests/mutation/examples")) {
    paths.push_back(each.path().string());
  }
  std::sort(paths.begin(), paths.end());
  std::vector<Example> out;
  for (const std::string& path : paths) {
    std::ifstream file(path);
    std::stringstream text;
    text << file.rdbuf();
    out.push_back({path, json::Document(testing_r4::catalog().names())});
    EXPECT_TRUE(out.back().document.parse(text.str())) << path;
  }
  return out;
}

std::string printed(const fhir::Issues& issues) {
  std::string out;
  for (const fhir::Issue& issue : issues) {
    out += std::string(fhir::name_of(issue.severity)) + " " + issue.expression + ": " + issue.text +
           "\n";
  }
  return out;
}

TEST(Mutation, TheExamplesThemselvesRaiseNoAlarm) {
  check::Scratch scratch;
  for (const Example& example : read_examples()) {
    check::Options options;
    options.notes = false;
    const fhir::Issues issues =
        testing_r4::checker().check(*example.document.root(), options, scratch);
    EXPECT_TRUE(issues.empty()) << example.name << "\n" << printed(issues);
  }
}

enum class Need { kSomewhere, kNothing };

void expect_caught(std::span<const Mutation> mutations, const std::vector<Example>& examples,
                   Need need) {
  constexpr std::size_t kSitesMax = 60;  // of one kind in one example
  check::Scratch scratch;
  json::Document document(testing_r4::catalog().names());
  for (const Mutation& mutation : mutations) {
    std::size_t made = 0;
    for (const Example& example : examples) {
      const json::Node& root = *example.document.root();
      std::size_t here = 0;
      for (const Site& site : sites_of(root, testing_r4::catalog())) {
        const std::optional<Edits> edits = mutation.spoil(site, testing_r4::catalog());
        if (!edits || here >= kSitesMax) {
          continue;
        }
        ++here;
        const std::string text = print(root, *edits);
        ASSERT_TRUE(document.parse(text)) << mutation.name << " " << text;
        const fhir::Issues issues = testing_r4::checker().check(*document.root(), {}, scratch);
        EXPECT_TRUE(fhir::has_errors(issues))
            << mutation.name << " is not caught in " << example.name << " at "
            << json::pointer_of(site.node != nullptr ? *site.node : *site.object) << "\n"
            << text << "\n"
            << printed(issues);
      }
      made += here;
    }
    EXPECT_TRUE(made > 0 || need == Need::kNothing) << "nothing to try " << mutation.name << " on";
  }
}

TEST(Mutation, WrongFormsAreCaught) {
  expect_caught(form_mutations(), read_examples(), Need::kSomewhere);
}

TEST(Mutation, BrokenRulesAreCaught) {
  expect_caught(rule_mutations(), read_examples(), Need::kSomewhere);
}

TEST(Mutation, ThereAreMoreKindsThanTheSixtyFourAskedFor) {
  EXPECT_GE(form_mutations().size() + rule_mutations().size(), 64U);
}

TEST(Mutation, WrongFormsOfPublishedExamplesAreCaught) {
  std::ifstream file("../shared/conformance/examples/valid-r4.ndjson");
  if (!file) {
    GTEST_SKIP() << "the published examples are not here";
  }
  constexpr std::size_t kEvery = 9;  // a sample keeps this test short; every type comes up
  std::vector<Example> examples;
  std::string line;
  for (std::size_t number = 0; std::getline(file, line); ++number) {
    json::Document outer(testing_r4::catalog().names());
    if (number % kEvery != 0 || !outer.parse(line)) {
      continue;
    }
    examples.push_back(
        {outer.root()->string_at("name").data(), json::Document(testing_r4::catalog().names())});
    ASSERT_TRUE(examples.back().document.parse(json::to_text(*outer.root()->find("resource"))));
  }
  expect_caught(form_mutations(), examples, Need::kNothing);
}

}  // namespace
}  // namespace mutation
