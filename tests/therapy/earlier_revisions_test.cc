// What the revisions before still say: those that were given up nothing.

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

std::ptrdiff_t count(const std::vector<std::string>& all, std::string_view part) {
  return std::count_if(all.begin(), all.end(), [part](const std::string& line) {
    return line.find(part) != std::string::npos;
  });
}

// One of Revision::sent_before.
std::string sent(const Translation& made, const std::string& marks) {
  return "{" + marks + "\"bundle\":" + made.bundle + "}";
}

std::string third(const std::string& body) {
  return replaced(second(body), "\"revision\": 2,", "\"revision\": 3,");
}

// The second revision changed a pulse, brought another entry and took one back. Nobody knows
// whether it landed, and a person gave it up.
TEST(EarlierRevisions, WhatWasGivenUpIsPutRightAndNotDone) {
  const std::string first = sample("vitals");
  const Revision one{first, kFirst};
  std::string changed = replaced(first, "\"value\": 88", "\"value\": 98");
  changed = replaced(changed, "\"entry\": [",
                     R"("withdrawal": [{ "entry": "v3", "reason": "Other patient" }],
      "entry": [ { "id": "v9", "time": "2026-03-02T09:12:00+01:00", "vitals": {
        "pulse": { "value": 77, "unit": "/min" } } },)");
  changed.erase(changed.rfind(",\n    {\n      \"id\": \"v3\""));
  changed += "\n  ]\n}\n";
  const Revision two{second(changed), kSecond};
  const Translation of_first = house().translate({&one, 1});
  const Revision both[] = {one, two};
  const Translation of_second = house().translate(both);
  ASSERT_EQ(of_second.verdict, Verdict::kReady) << fhir::to_operation_outcome(of_second.issues);
  ASSERT_EQ(count(lines(of_second.bundle), "Observation entered-in-error"), 2) << "v3 has two";

  // The third says of v2 alone that something is new.
  std::string only = third(replaced(first, "\"value\": 95", "\"value\": 96"));
  Revision three{only, kThird};
  three.sent_before = "[" + sent(of_first, "\"revision\":1,") + "," +
                      sent(of_second, "\"revision\":2,\"doubtful\":true,") + "]";
  const Revision basis[] = {one, three};
  const Translation made = house().translate(basis);
  ASSERT_EQ(made.verdict, Verdict::kReady) << fhir::to_operation_outcome(made.issues);
  const std::vector<std::string> got = lines(made.bundle);
  EXPECT_EQ(count(got, "Observation corrected 96"), 1);
  EXPECT_EQ(count(got, "Observation corrected 88"), 1) << "as the first said";
  EXPECT_EQ(count(got, " 98"), 0);
  EXPECT_EQ(count(got, "PUT Observation entered-in-error 77"), 1) << "v9 says nothing any more";
  EXPECT_EQ(count(got, "PUT Observation final 90"), 1) << "v3 was never wrong";
  EXPECT_EQ(count(got, "entered-in-error"), 1);
}

// Nothing else was there before: what the given-up one may have put there is taken back.
TEST(EarlierRevisions, BehindOnesThatWereAllGivenUpOnlyWhatTheySentCounts) {
  const Revision one{sample("self-care"), kFirst};
  const Translation of_first = house().translate({&one, 1});
  std::string body = sample("self-care");
  const std::size_t from = body.find("    {\n      \"id\": \"c2\"");
  body.erase(body.rfind(',', from), body.find("\n  ]", from) - body.rfind(',', from));
  Revision two{second(body, ""), kSecond};
  two.sent_before = "[" + sent(of_first, "\"revision\":1,\"doubtful\":true,") + "]";
  const Translation made = house().translate({&two, 1});
  ASSERT_EQ(made.verdict, Verdict::kReady) << fhir::to_operation_outcome(made.issues);
  EXPECT_EQ(count(lines(made.bundle), "PUT Procedure entered-in-error"), 1);
  EXPECT_EQ(fhir::to_operation_outcome(made.issues).find("missing now"), std::string::npos);
  EXPECT_NE(made.bundle.find("\"code\":\"UPDATE\""), std::string::npos);
  EXPECT_NE(made.bundle.find("Session document, revision 1"), std::string::npos);
}

TEST(EarlierRevisions, AlsoBehindThoseATakingBackCarriesItsReasonAndTheirPatient) {
  const Revision one{sample("self-care"), kFirst};
  const Translation of_first = house().translate({&one, 1});
  const std::string back =
      replaced(sample("self-care"), "\"status\": \"closed\"", "\"status\": \"entered-in-error\"");
  const struct {
    std::string body;
    const char* marks;
    const char* hold;
  } table[] = {
      {second(back), "\"revision\":1,\"doubtful\":true,", ""},
      {second(back, ""), "\"revision\":1,\"doubtful\":true,", "reason-missing"},
      {second(back), "\"revision\":1,\"otherPatient\":true,\"doubtful\":true,", "patient-changed"},
      {second(sample("self-care")), "\"revision\":1,\"otherPatient\":true,\"doubtful\":true,",
       "patient-changed"},
      // The revision itself left as another bundle.
      {replaced(back, "\"revision\": 1", "\"revision\": 2"), "\"doubtful\":true,", ""},
  };
  for (const auto& row : table) {
    Revision two{row.body, kSecond};
    two.sent_before = "[" + sent(of_first, row.marks) + "]";
    const Translation made = house().translate({&two, 1});
    EXPECT_EQ(made.hold_reason, row.hold) << row.marks;
    EXPECT_EQ(made.verdict, *row.hold == 0 ? Verdict::kReady : Verdict::kHeld) << row.marks;
  }
  Revision two{table[0].body, kSecond};
  two.sent_before = "[" + sent(of_first, table[0].marks) + "]";
  const Translation made = house().translate({&two, 1});
  EXPECT_EQ(count(lines(made.bundle), "entered-in-error"),
            static_cast<std::ptrdiff_t>(lines(of_first.bundle).size()) - 1);
  EXPECT_NE(made.bundle.find("\"code\":\"NULLIFY\""), std::string::npos);
}

}  // namespace
}  // namespace engine::therapy
