// Later sends of one session: corrections, additions, withdrawals, attestation, an open session
// that goes on.

#include <algorithm>

#include <gtest/gtest.h>

#include "tests/therapy/house.h"
#include "tests/therapy/sends.h"

namespace engine::therapy {
namespace {

using testing::house;
using testing::kFirst;
using testing::kSecond;
using testing::kThird;
using testing::lines;
using testing::replaced;
using testing::sample;
using testing::second;

struct Sent {
  const char* at;
  std::string body;
};

// What the revisions before sent, as bundles.
std::string sent_before(const std::vector<Revision>& revisions, const char* doubtful = "") {
  std::string sent;
  for (std::size_t i = 1; i < revisions.size(); ++i) {
    const Translation made = house().translate(std::span(revisions).first(i));
    if (made.verdict != Verdict::kReady) {
      return {};
    }
    sent +=
        (sent.empty() ? "[{" : ",{") + std::string(doubtful) + "\"bundle\":" + made.bundle + "}";
  }
  return sent.empty() ? sent : sent + "]";
}

// Where one set made all of it, what was sent is what rendering again says.
void expect_same_over_what_was_sent(std::vector<Revision> revisions, const Translation& made) {
  revisions.back().sent_before = sent_before(revisions);
  if (!revisions.back().sent_before.empty()) {
    const Translation again = house().translate(revisions);
    EXPECT_EQ(again.verdict, made.verdict) << again.hold_reason;
    EXPECT_EQ(again.bundle, made.bundle);
  }
}

Translation translate(std::initializer_list<Sent> sends) {
  std::vector<Revision> revisions;
  for (const Sent& sent : sends) {
    revisions.push_back({sent.body, sent.at});
  }
  Translation made = house().translate(revisions);
  expect_same_over_what_was_sent(revisions, made);
  return made;
}

TEST(Revisions, AFirstSendCreatesUnlessItIsThere) {
  const Translation done = translate({{kFirst, sample("vitals")}});
  ASSERT_EQ(done.verdict, Verdict::kReady) << done.hold_reason;
  for (const std::string& line : lines(done.bundle)) {
    EXPECT_TRUE(line.rfind("POST", 0) == 0 || line.rfind("PUT Provenance", 0) == 0) << line;
  }
  EXPECT_NE(done.bundle.find("\"ifNoneExist\":\"identifier=https://chartferry.example/fhir/sid/"),
            std::string::npos);
}

TEST(Revisions, ACorrectedValueUpdatesItsResourceAndNothingElse) {
  const Translation done =
      translate({{kFirst, sample("vitals")},
                 {kSecond, second(replaced(sample("vitals"), "\"value\": 88", "\"value\": 98"))}});
  ASSERT_EQ(done.verdict, Verdict::kReady)
      << done.hold_reason << fhir::to_operation_outcome(done.issues);
  const std::vector<std::string> want = {"PUT Observation corrected 98", "PUT Provenance "};
  EXPECT_EQ(lines(done.bundle), want);
  EXPECT_NE(done.bundle.find("\"code\":\"UPDATE\""), std::string::npos);
  EXPECT_NE(done.bundle.find("Misread"), std::string::npos);
}

// Of a revision that was given up, nobody knows whether it is on the server.
TEST(Revisions, WhatMayHaveLandedIsCarriedAgainOrTakenBack) {
  const std::string corrected =
      second(replaced(sample("vitals"), "\"value\": 88", "\"value\": 98"));
  std::vector<Revision> revisions = {{sample("vitals"), kFirst}, {corrected, kSecond}};
  revisions.back().sent_before = sent_before(revisions, "\"doubtful\":true,");
  const std::vector<std::string> all = lines(house().translate({&revisions[0], 1}).bundle);
  const Translation again = house().translate(revisions);
  ASSERT_EQ(again.verdict, Verdict::kReady) << again.hold_reason;
  const std::vector<std::string> carried = lines(again.bundle);
  EXPECT_EQ(carried.size(), all.size());
  EXPECT_EQ(std::count(carried.begin(), carried.end(), "PUT Observation corrected 98"), 1);
  EXPECT_EQ(std::count(carried.begin(), carried.end(), "PUT Observation corrected 88"), 0);

  revisions.back().body = second(
      replaced(sample("vitals"), "\"status\": \"closed\"", "\"status\": \"entered-in-error\""));
  const Translation back = house().translate(revisions);
  ASSERT_EQ(back.verdict, Verdict::kReady) << back.hold_reason;
  const std::vector<std::string> taken = lines(back.bundle);
  EXPECT_EQ(taken.size(), all.size());
  EXPECT_EQ(std::count_if(taken.begin(), taken.end(),
                          [](const std::string& line) {
                            return line.find("entered-in-error") != std::string::npos;
                          }),
            static_cast<std::ptrdiff_t>(all.size()) - 1);  // all but the Provenance
}

// A second revision in doubt, and a third that says the same.
TEST(Revisions, WhatMayHaveBeenCorrectedStaysCorrected) {
  const std::string corrected =
      second(replaced(sample("vitals"), "\"value\": 88", "\"value\": 98"));
  std::vector<Revision> revisions = {{sample("vitals"), kFirst}, {corrected, kSecond}};
  const Translation first = house().translate({&revisions[0], 1});
  const Translation next = house().translate(revisions);
  revisions.push_back({replaced(corrected, "\"revision\": 2,", "\"revision\": 3,"), kThird});
  revisions.back().sent_before =
      "[{\"bundle\":" + first.bundle + "},{\"doubtful\":true,\"bundle\":" + next.bundle + "}]";
  const std::vector<std::string> sent = lines(house().translate(revisions).bundle);
  EXPECT_EQ(std::count(sent.begin(), sent.end(), "PUT Observation corrected 98"), 1);
}

// The second revision took a reading out, was given up, and may have landed or not.
TEST(Revisions, WhatAnotherRevisionMayHaveTakenBackIsTakenBackOnceMore) {
  const std::string without =
      replaced(replaced(sample("vitals"), "\"pulse\": { \"value\": 88, \"unit\": \"/min\" },", ""),
               "\"pulseSource\": \"oximeter\",", "");
  std::vector<Revision> revisions = {{sample("vitals"), kFirst}, {second(without), kSecond}};
  const Translation first = house().translate({&revisions[0], 1});
  const Translation next = house().translate(revisions);
  const std::string third = replaced(second(without), "\"revision\": 2,", "\"revision\": 3,");
  revisions.push_back({third, kThird});
  for (const auto& [doubtful, count] : {std::pair("\"doubtful\":true,", 1), {"", 0}}) {
    revisions.back().sent_before =
        "[{\"bundle\":" + first.bundle + "},{" + doubtful + "\"bundle\":" + next.bundle + "}]";
    const std::vector<std::string> sent = lines(house().translate(revisions).bundle);
    EXPECT_EQ(std::count(sent.begin(), sent.end(), "PUT Observation entered-in-error 88"), count);
  }
}

TEST(Revisions, AChangeWithoutAReasonIsHeld) {
  const Translation done = translate(
      {{kFirst, sample("vitals")},
       {kSecond, second(replaced(sample("vitals"), "\"value\": 88", "\"value\": 98"), "")}});
  EXPECT_EQ(done.hold_reason, "reason-missing");
}

TEST(Revisions, SomethingAddedToAnEntryAmendsIt) {
  const Translation done = translate(
      {{kFirst, sample("vitals")},
       {kSecond, second(replaced(sample("vitals"), "\"id\": \"v2\",",
                                 "\"id\": \"v2\", \"comment\": \"After two minutes.\","))}});
  ASSERT_EQ(done.verdict, Verdict::kReady) << done.hold_reason;
  EXPECT_EQ(lines(done.bundle).front(), "PUT Observation amended 0");
}

TEST(Revisions, AReadingTakenOutOfAnEntryIsEnteredInError) {
  const std::string without =
      replaced(sample("vitals"), "\"pulse\": { \"value\": 88, \"unit\": \"/min\" },", "");
  const Translation done =
      translate({{kFirst, sample("vitals")},
                 {kSecond, second(replaced(without, "\"pulseSource\": \"oximeter\",", ""))}});
  ASSERT_EQ(done.verdict, Verdict::kReady) << done.hold_reason;
  const std::vector<std::string> want = {"PUT Observation entered-in-error 88", "PUT Provenance "};
  EXPECT_EQ(lines(done.bundle), want);
}

std::string without_second_entry(std::string body) {
  const std::size_t from = body.find("    {\n      \"id\": \"c2\"");
  const std::size_t comma = body.rfind(',', from);
  const std::size_t to = body.find("\n  ]", from);
  return body.erase(comma, to - comma);
}

TEST(Revisions, AnEntryLeftOutStaysAsItWas) {
  const Translation done =
      translate({{kFirst, sample("self-care")},
                 {kSecond, second(without_second_entry(sample("self-care")), "")}});
  EXPECT_EQ(done.verdict, Verdict::kReady) << done.hold_reason;
  EXPECT_TRUE(lines(done.bundle).empty()) << done.bundle;
  EXPECT_NE(fhir::to_operation_outcome(done.issues).find("missing now"), std::string::npos);
}

TEST(Revisions, AWithdrawnEntryIsEnteredInErrorAndKeepsItsContent) {
  const Translation done = translate(
      {{kFirst, sample("self-care")},
       {kSecond, second(without_second_entry(sample("self-care")),
                        R"("withdrawal": [{ "entry": "c2", "reason": "Other patient" }],)")}});
  ASSERT_EQ(done.verdict, Verdict::kReady)
      << done.hold_reason << fhir::to_operation_outcome(done.issues);
  // The Procedure, the level of help, the summary that named it, the Provenance.
  const std::vector<std::string> want = {"PUT Observation corrected",
                                         "PUT Observation entered-in-error",
                                         "PUT Procedure entered-in-error", "PUT Provenance "};
  std::vector<std::string> got = lines(done.bundle);
  std::sort(got.begin(), got.end());
  EXPECT_EQ(got, want);
  EXPECT_NE(done.bundle.find("Other patient"), std::string::npos);
  EXPECT_NE(done.bundle.find("LA10058-8"), std::string::npos);
}

std::string in_error(std::string body, const char* change) {
  return second(
      replaced(std::move(body), "\"status\": \"closed\"", "\"status\": \"entered-in-error\""),
      change);
}

TEST(Revisions, ASessionEnteredInErrorIsTakenBackWhole) {
  const Translation first = translate({{kFirst, sample("self-care")}});
  const Translation done =
      translate({{kFirst, sample("self-care")},
                 {kSecond, in_error(sample("self-care"),
                                    R"("change": { "reason": "Entered on another bed" },)")}});
  ASSERT_EQ(done.verdict, Verdict::kReady)
      << done.hold_reason << fhir::to_operation_outcome(done.issues);
  const std::vector<std::string> made = lines(first.bundle);
  const std::vector<std::string> taken = lines(done.bundle);
  ASSERT_EQ(taken.size(), made.size());
  EXPECT_EQ(std::count_if(taken.begin(), taken.end(),
                          [](const std::string& line) {
                            return line.find(" entered-in-error") != std::string::npos;
                          }),
            static_cast<std::ptrdiff_t>(made.size()) - 1);
  EXPECT_NE(done.bundle.find("\"code\":\"NULLIFY\""), std::string::npos);
  EXPECT_NE(done.bundle.find("Entered on another bed"), std::string::npos);
  EXPECT_EQ(fhir::to_operation_outcome(done.issues).find("missing now"), std::string::npos);
}

TEST(Revisions, WhatWasNeverConfirmedNeedsNoConfirmingToBeTakenBack) {
  // Released by a person, it is in the chart; no question about a value may keep it there.
  const std::string doubtful = replaced(sample("vitals"), "\"value\": 93", "\"value\": 59");
  ASSERT_EQ(translate({{kFirst, doubtful}}).hold_reason, "unconfirmed-value");
  const Translation done = translate(
      {{kFirst, doubtful},
       {kSecond, in_error(doubtful, R"("change": { "reason": "Entered on another bed" },)")}});
  EXPECT_EQ(done.verdict, Verdict::kReady) << done.hold_reason;
  EXPECT_NE(done.bundle.find("entered-in-error"), std::string::npos);
}

TEST(Revisions, ASessionEnteredInErrorWithoutAReasonIsHeld) {
  const Translation done =
      translate({{kFirst, sample("self-care")}, {kSecond, in_error(sample("self-care"), "")}});
  EXPECT_EQ(done.hold_reason, "reason-missing");
}

TEST(Revisions, ARevisionThatNamesAnotherPatientIsHeld) {
  const Translation done = translate(
      {{kFirst, sample("vitals")},
       {kSecond, second(replaced(sample("vitals"), "\"value\": \"P-", "\"value\": \"Q-"))}});
  EXPECT_EQ(done.hold_reason, "patient-changed") << fhir::to_operation_outcome(done.issues);
}

TEST(Revisions, AnOpenSessionGoesOnAndCloses) {
  const std::string open = sample("open-session");
  const std::string more = replaced(
      replaced(open, "\"revision\": 1", "\"revision\": 2"), "\"entry\": [",
      "\"entry\": [ { \"id\": \"v0\", \"time\": \"2026-03-02T09:10:00+01:00\", \"vitals\": {"
      " \"pulse\": { \"value\": 90, \"unit\": \"/min\" } } },");
  const std::string closed = replaced(
      replaced(replaced(more, "\"revision\": 2", "\"revision\": 3"), "\"open\"", "\"closed\""),
      "\"start\": \"2026-03-02T09:00:00+01:00\"",
      "\"start\": \"2026-03-02T09:00:00+01:00\", \"end\": \"2026-03-02T09:40:00+01:00\"");
  const Translation one = translate({{kFirst, open}});
  EXPECT_NE(one.bundle.find("in-progress"), std::string::npos);
  const Translation two = translate({{kFirst, open}, {kSecond, more}});
  ASSERT_EQ(two.verdict, Verdict::kReady) << two.hold_reason;
  EXPECT_NE(two.bundle.find("\"value\":90"), std::string::npos);
  // The new reading is part of a Procedure that this transaction does not carry.
  EXPECT_NE(two.bundle.find("Procedure?identifier="), std::string::npos) << two.bundle;
  const Translation three = translate({{kFirst, open}, {kSecond, more}, {kThird, closed}});
  ASSERT_EQ(three.verdict, Verdict::kReady) << three.hold_reason;
  EXPECT_NE(three.bundle.find("completed"), std::string::npos);
  EXPECT_EQ(three.bundle.find("in-progress"), std::string::npos);
}

TEST(Revisions, AStudentsEntryIsPreliminaryUntilAttested) {
  const std::string alone = replaced(sample("handed-over"), "\"attestation\"", "\"attestation\"");
  const std::size_t from = alone.find("  \"attestation\": [");
  const std::size_t to = alone.find("\n  \"entry\": [", from);
  std::string unattested = alone;
  unattested.erase(from, to - from);
  const Translation first = translate({{kSecond, unattested}});
  ASSERT_EQ(first.verdict, Verdict::kReady) << first.hold_reason;
  EXPECT_NE(first.bundle.find("preliminary"), std::string::npos);
  const Translation attested = translate(
      {{kSecond, unattested}, {kThird, replaced(alone, "\"revision\": 1", "\"revision\": 2")}});
  ASSERT_EQ(attested.verdict, Verdict::kReady)
      << attested.hold_reason << fhir::to_operation_outcome(attested.issues);
  EXPECT_NE(attested.bundle.find("verifier"), std::string::npos);
  EXPECT_EQ(attested.bundle.find("preliminary"), std::string::npos) << attested.bundle;
}

TEST(Revisions, NothingNewIsNothingToSend) {
  const Translation done =
      translate({{kFirst, sample("vitals")}, {kSecond, second(sample("vitals"), "")}});
  EXPECT_EQ(done.verdict, Verdict::kReady);
  EXPECT_TRUE(lines(done.bundle).empty());
}

TEST(Revisions, ARevisionThatDoesNotRiseIsRefused) {
  const Translation done = translate({{kFirst, sample("vitals")}, {kSecond, sample("vitals")}});
  EXPECT_EQ(done.verdict, Verdict::kRefused);
}

// An entry of a patient is final before; that somebody looked is told all the same.
TEST(Revisions, LookingThroughWhatAPatientReportedIsAProvenanceOfItsOwn) {
  const std::string more = replaced(sample("patient-reported"), "        \"e-1\"\n",
                                    "        \"e-1\",\n        \"e-3\"\n");
  const Translation done =
      translate({{kFirst, sample("patient-reported")},
                 {kSecond, second(more, R"("change": { "reason": "Looked through" },)")}});
  ASSERT_EQ(done.verdict, Verdict::kReady)
      << done.hold_reason << fhir::to_operation_outcome(done.issues);
  EXPECT_EQ(lines(done.bundle), std::vector<std::string>{"PUT Provenance "});
  for (const char* part : {"\"code\":\"verifier\"", "\"code\":\"UPDATE\"",
                           "\"target\":[{\"reference\":\"Procedure?identifier="}) {
    EXPECT_NE(done.bundle.find(part), std::string::npos) << part << " in " << done.bundle;
  }
}

}  // namespace
}  // namespace engine::therapy
