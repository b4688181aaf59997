// Readings against what is predicted for the patient, and the weight against an earlier one.

#include <gtest/gtest.h>

#include "tests/therapy/house.h"

namespace engine::therapy {
namespace {

using testing::replaced;
using testing::sample;

std::string texts(const Translation& translation) {
  std::string all;
  for (const fhir::Issue& issue : translation.issues) {
    all += issue.expression + ": " + issue.text + "\n";
  }
  return all;
}

// A man of 60, 175 cm, 80 kg: 573.8 m in six minutes, 3.54 L inspired (tests of the formulas). Here
// an exerciser set takes the place of his second walk.
std::string exerciser(const std::string& volume) {
  return replaced(sample("walk"),
                  "\"walk\": {\n        \"distance\": { \"value\": 45, \"unit\": \"m\" },\n"
                  "        \"help\": \"05\",\n        \"aid\": [\n          \"rollator\"\n"
                  "        ]\n      }",
                  "\"breathingExerciser\": { \"repetition\": [{ \"volume\": { \"value\": " +
                      volume + " } }] }");
}

std::string walked(const std::string& metres) {
  return replaced(sample("walk"), "\"value\": 310", "\"value\": " + metres);
}

std::string weighed(const std::string& kilograms, const std::string& day) {
  return replaced(sample("walk"), "\"entry\": [",
                  "\"earlier\": [{ \"time\": \"" + day +
                      "T09:00:00+01:00\", \"weight\": { \"value\": " + kilograms +
                      ", \"unit\": \"kg\" } }], \"entry\": [");
}

struct Row {
  const char* name;
  std::string body;
  const char* says;  // empty: asks nothing
};

TEST(AdmissionPredicted, AsksOverThePercentOfPredictedAndNotBelow) {
  const Row rows[] = {
      {"688 m, 119.9 %", walked("688"), ""},
      {"689 m, 120.1 %", walked("689"), "120.1 % of the 573.8 m predicted"},
      {"4600 mL, 129.9 %", exerciser("4600, \"unit\": \"mL\""), ""},
      {"4610 mL, 130.2 %", exerciser("4610, \"unit\": \"mL\""), "130.2 % of the 3540"},
      {"4.61 L", exerciser("4.61, \"unit\": \"L\""), "130.2 % of the 3540"},
      {"443 L/min", replaced(sample("peak-flow"), "\"value\": 320", "\"value\": 443"), ""},
      {"444 L/min", replaced(sample("peak-flow"), "\"value\": 320", "\"value\": 444"),
       "130.2 % of the 341 L/min predicted"},
      {"litres per second as per minute",
       replaced(sample("peak-flow"), "\"value\": 320", "\"value\": 5.3"), "write the unit L/s"},
      {"5 % in a week", weighed("84.2", "2026-02-26"), ""},
      {"6 % in a week", weighed("85", "2026-02-26"), "a change of 5.9 %"},
      {"6 % in nine days", weighed("85", "2026-02-21"), ""},
      {"gained", weighed("75", "2026-02-26"), "a change of 6.7 %"},
  };
  for (const Row& row : rows) {
    const Translation got = testing::translate_one(row.body);
    if (*row.says == '\0') {
      EXPECT_EQ(got.hold_reason, "") << row.name << "\n" << texts(got);
      continue;
    }
    EXPECT_EQ(got.hold_reason, "unconfirmed-value") << row.name;
    EXPECT_NE(texts(got).find(row.says), std::string::npos) << row.name << "\n" << texts(got);
  }
}

TEST(AdmissionPredicted, AWalkThatIsNoTestIsNotCompared) {
  const Translation got = testing::translate_one(
      replaced(walked("900"), "\"sixMinuteTest\": true", "\"sixMinuteTest\": false"));
  EXPECT_EQ(got.hold_reason, "") << texts(got);
}

TEST(AdmissionPredicted, WithoutHeightNothingIsPredicted) {
  const Translation got = testing::translate_one(
      replaced(walked("900"), "\"height\": { \"value\": 175, \"unit\": \"cm\" },", ""));
  EXPECT_EQ(got.hold_reason, "") << texts(got);
}

TEST(AdmissionPredicted, ConfirmingIsPossibleForThePatientToo) {
  const std::string body = weighed("85", "2026-02-26");
  const Translation asked = testing::translate_one(body);
  EXPECT_NE(texts(asked).find("confirm it in 'patient'"), std::string::npos) << texts(asked);
  const Translation confirmed =
      testing::translate_one(replaced(body, "\"birthDate\"", "\"confirmed\": true, \"birthDate\""));
  EXPECT_EQ(confirmed.hold_reason, "");
  EXPECT_NE(texts(confirmed).find("It was confirmed."), std::string::npos) << texts(confirmed);
}

}  // namespace
}  // namespace engine::therapy
