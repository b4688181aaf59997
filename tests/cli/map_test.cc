// chartferry map test: our own maps against the reviewed bundles, and what is told when one is not
// there.

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

// What the bundles' lineage names has fired; the samples reach every kind of entry.
TEST(MapCommand, TellsWhichRulesNoSampleFires) {
  const Answer answer = run_program({"map", "coverage", "mappings"});
  EXPECT_NE(answer.out.find("100.0 % entry-walk.map"), std::string::npos) << answer.out;
  EXPECT_NE(answer.out.find("no sample fires the rule"), std::string::npos);
  EXPECT_EQ(answer.out.find("  0.0 %"), std::string::npos) << answer.out;
}

}  // namespace
}  // namespace cli_test
