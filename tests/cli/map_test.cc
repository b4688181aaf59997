// chartferry map test: our own maps against the reviewed bundles, and what is told when one is not
// there.

#include <map>
#include <string>

#include <gtest/gtest.h>

#include "tests/cli/program.h"

namespace cli_test {
namespace {

constexpr const char* kReviewedAt = "2026-03-02T09:41:00.000Z";

TEST(MapTest, OurSamplesBecomeTheReviewedBundles) {
  const Answer answer = run_program(
      {"map", "test", "mappings", "--expected", "tests/golden", "--accepted-at", kReviewedAt});
  EXPECT_EQ(answer.status, 0) << answer.out;
  EXPECT_NE(answer.out.find("ok     samples/vitals.session.json"), std::string::npos);
}

TEST(MapTest, AnotherTimeOfAcceptanceIsAnotherBundle) {
  const Answer answer = run_program({"map", "test", "mappings", "--expected", "tests/golden",
                                     "--accepted-at", "2026-03-02T09:42:00.000Z"});
  EXPECT_EQ(answer.status, 1);
  EXPECT_NE(answer.out.find("FAILED samples/vitals.session.json"), std::string::npos);
}

TEST(MapTest, AMissingExpectationIsNamedWithItsFolder) {
  const Answer answer = run_program({"map", "test", "mappings", "--expected", "tests/golden/none"});
  EXPECT_EQ(answer.status, 1);
  EXPECT_NE(answer.out.find("tests/golden/none/vitals.bundle.json is missing"), std::string::npos);
}

TEST(MapCommand, OurMapsLeaveNoFieldUnreadAndNoGroupUncalled) {
  const Answer answer = run_program({"map", "lint", "mappings"});
  EXPECT_EQ(answer.status, 0) << answer.out;
}

// Two rules on one line are two rules; one that makes nothing of its own has fired all the same.
TEST(MapCommand, CoverageCountsRulesWhetherTheyMakeSomethingOrNot) {
  const Answer answer = run_program({"map", "coverage", "mappings", "--each"});
  EXPECT_EQ(answer.out.find("FAILED"), std::string::npos) << answer.out;
  std::map<std::string, std::size_t> fired;
  std::map<std::string, std::size_t> silent;
  std::size_t files = 0;
  for (const std::string& line : lines_of(answer.out)) {
    const std::string file = line.substr(0, line.find(':'));
    if (line.ends_with(" fires in no sample")) {
      ++silent[file];
    } else if (line.find(" fires in ") != std::string::npos) {
      ++fired[file];
    } else if (line.ends_with(" rules)")) {
      ++files;
      const std::size_t at = line.find("% ") + 2;
      const std::string map = line.substr(at, line.find(" (") - at);
      EXPECT_NE(line.find("(" + std::to_string(fired[map]) + " of " +
                          std::to_string(fired[map] + silent[map]) + " rules)"),
                std::string::npos)
          << line;
      EXPECT_GT(fired[map], 0U) << line;
      EXPECT_EQ(line.starts_with("100.0 %"), silent[map] == 0) << line;
    }
  }
  EXPECT_GT(files, 20U);
  // A rule that only calls another group.
  EXPECT_NE(answer.out.find("rule note of group note fires in "), std::string::npos);
}

}  // namespace
}  // namespace cli_test
