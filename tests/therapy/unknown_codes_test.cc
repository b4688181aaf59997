// Codes of the document that no table translates: each is told with its table, and the session
// waits for a person; a table that is missing as a whole does not fill the report.

#include <string>

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "tests/therapy/house.h"

namespace engine::therapy {
namespace {

constexpr std::size_t kMost = base::limits::kUntranslatedIssuesMax;

// Maps whose table of consciousness knows no "A".
const Translator& without_alert() {
  static const std::unique_ptr<Translator> made = [] {
    Sources sources = testing::house_sources();
    for (base::SourceFile& file : sources.mappings) {
      if (file.name == "concepts/consciousness.csv") {
        file.bytes = testing::replaced(file.bytes, "\nA,", "\nZ,");
      }
    }
    return std::move(*Translator::load(std::move(sources)));
  }();
  return *made;
}

// A session with so many entries that say "A".
std::string session(std::size_t entries) {
  std::string list;
  for (std::size_t i = 0; i < entries; ++i) {
    const std::string minute = std::to_string(100 + i % 40).substr(1);
    list += (i > 0 ? "," : "") + std::string(R"({"id":"k)") + std::to_string(i) +
            R"(","time":"2026-03-02T09:)" + minute +
            R"(:00+01:00","vitals":{"consciousness":"A"}})";
  }
  const std::string note = testing::sample("note");
  const std::size_t at = note.find("\"entry\": [");
  return note.substr(0, at) + "\"entry\": [" + list + "]}";
}

fhir::Issues issues_of(std::size_t entries) {
  const Revision revision{session(entries), "2026-03-02T09:41:00.000Z"};
  const Translation made = without_alert().translate({&revision, 1});
  EXPECT_EQ(made.hold_reason, "unknown-code") << fhir::to_operation_outcome(made.issues);
  fhir::Issues of_codes;
  for (const fhir::Issue& issue : made.issues) {
    if (issue.code == "code-invalid") {
      of_codes.push_back(issue);
    }
  }
  return of_codes;
}

TEST(UnknownCodes, AreToldWithTheirTable) {
  const fhir::Issues issues = issues_of(1);
  ASSERT_EQ(issues.size(), 1U);
  EXPECT_NE(issues[0].text.find("'A' has no translation in"), std::string::npos);
  EXPECT_NE(issues[0].text.find("ConceptMap/consciousness"), std::string::npos);
}

TEST(UnknownCodes, AreAllToldUpToTheBound) {
  const fhir::Issues issues = issues_of(kMost);
  ASSERT_EQ(issues.size(), kMost);
  EXPECT_NE(issues.back().text.find("'A'"), std::string::npos);
}

TEST(UnknownCodes, BeyondTheBoundTheLastIssueSaysHowManyMoreThereAre) {
  for (const std::size_t more : {std::size_t{1}, std::size_t{30}}) {
    const fhir::Issues issues = issues_of(kMost + more);
    ASSERT_EQ(issues.size(), kMost + 1);
    EXPECT_NE(issues.back().text.find("beside these: " + std::to_string(more) + "."),
              std::string::npos)
        << issues.back().text;
  }
}

}  // namespace
}  // namespace engine::therapy
