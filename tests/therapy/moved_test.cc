// A session that goes from the wrong patient to the right one.

#include "engine/therapy/moved.h"

#include <gtest/gtest.h>

#include "tests/therapy/house.h"

namespace engine::therapy {
namespace {

using testing::house;
using testing::replaced;
using testing::sample;

constexpr const char* kAt = "2026-03-02T12:00:00.000Z";

Move to_the_right_one() {
  Move move;
  move.patient = "https://hill.example/ids/patient|P-0202";
  move.actor = "Robin Sample";
  move.why = "Charted on the wrong bed";
  move.time = kAt;
  return move;
}

base::Result<Moved> move_one(const std::string& body, const Move& move) {
  const Revision revision{body, "2026-03-02T09:41:00.000Z"};
  return house().move({{revision}, {revision}, {}, 2}, move);
}

TEST(Moved, BothDocumentsAreAdmittedAndEachIsWhatItSays) {
  const auto moved = move_one(sample("ward-session"), to_the_right_one());
  ASSERT_TRUE(moved.has_value()) << moved.error().text();
  const Translator::Admission back = house().admit(moved->taken_back);
  ASSERT_TRUE(back.admitted) << fhir::to_operation_outcome(back.issues);
  EXPECT_TRUE(back.header.in_error);
  EXPECT_EQ(back.header.revision, 2u);
  const Translator::Admission first = house().admit(sample("ward-session"));
  EXPECT_EQ(back.header.session_id, first.header.session_id);
  EXPECT_EQ(back.header.patient_key, first.header.patient_key);
  const Translator::Admission entered = house().admit(moved->entered);
  ASSERT_TRUE(entered.admitted) << fhir::to_operation_outcome(entered.issues);
  EXPECT_EQ(entered.header.revision, 1u);
  EXPECT_EQ(entered.header.value, first.header.value + "-moved");
  EXPECT_EQ(entered.header.patient_key, "https://hill.example/ids/patient|P-0202");
  EXPECT_EQ(entered.header.therapist_key, first.header.therapist_key);
}

TEST(Moved, WhatIsKnownOfTheWrongPatientStaysBehind) {
  const std::string body = sample("ward-session");
  for (const char* part : {"\"order\"", "\"birthDate\""}) {
    ASSERT_NE(body.find(part), std::string::npos) << part;
  }
  const auto moved = move_one(body, to_the_right_one());
  ASSERT_TRUE(moved.has_value()) << moved.error().text();
  for (const char* part :
       {"\"order\"", "\"birthDate\"", "\"attestation\"", "\"earlier\"", "P-0101"}) {
    EXPECT_EQ(moved->entered.find(part), std::string::npos) << part;
  }
}

TEST(Moved, WhatIsKnownOfTheRightPatientComesWithIt) {
  Move move = to_the_right_one();
  move.encounter = "https://hill.example/ids/stay|S-9";
  move.known = R"({"patient": {"birthDate": "1950-01-02"},
                   "order": {"saturationTarget": {"low": {"value": 88, "unit": "%"},
                             "high": {"value": 92, "unit": "%"}, "setBy": "Dr. Example"}}})";
  const auto moved = move_one(sample("ward-session"), move);
  ASSERT_TRUE(moved.has_value()) << moved.error().text();
  for (const char* part :
       {R"("birthDate":"1950-01-02")", R"("low":{"value":88)",
        R"("encounter":{"system":"https://hill.example/ids/stay","value":"S-9"})"}) {
    EXPECT_NE(moved->entered.find(part), std::string::npos) << part << moved->entered;
  }
  EXPECT_TRUE(house().admit(moved->entered).admitted);
}

TEST(Moved, WhatEarlierRevisionsSentAndNoLaterOneRepeatsIsEnteredToo) {
  const std::string first = sample("self-care");
  std::string later = replaced(first, "\"revision\": 1,", "\"revision\": 2,");
  const std::size_t from = later.find("    {\n      \"id\": \"c2\"");
  later.erase(later.rfind(',', from), later.find("\n  ]", from) - later.rfind(',', from));
  const Revision one{first, "2026-03-02T09:41:00.000Z"};
  const Revision two{later, "2026-03-02T09:51:00.000Z"};
  const auto moved = house().move({{one, two}, {two}, {}, 3}, to_the_right_one());
  ASSERT_TRUE(moved.has_value()) << moved.error().text();
  EXPECT_NE(moved->entered.find("\"id\":\"c2\""), std::string::npos);
  EXPECT_EQ(house().admit(moved->taken_back).header.revision, 3u);
}

// What a sender corrected the patient in, and is held for it, says more than what is on the chart.
TEST(Moved, IsTakenBackFromTheChartThatItIsOnWhomeverItNamesByNow) {
  const std::string first = sample("vitals");
  const std::string value = R"("value": "P-0007")";
  const std::string moved_on = replaced(replaced(replaced(first, value, R"("value": "P-0202")"),
                                                 "\"revision\": 1,", "\"revision\": 2,"),
                                        "\"value\": 93", "\"value\": 94");
  const Revision one{first, kAt};
  const Revision two{moved_on, kAt};
  const std::string wrong = house().admit(first).header.patient_key;
  ASSERT_EQ(house().admit(moved_on).header.patient_key, to_the_right_one().patient);
  const struct {
    const char* what;
    Movable session;
    std::string back_from;  // "": it is on this patient already
  } rows[] = {
      {"the second is held", {{one, two}, {one}, {}, 3}, wrong},
      {"the second landed", {{one, two}, {two}, {}, 3}, ""},
      {"each on one server's chart", {{one, two}, {two, one}, {}, 3}, wrong},
      {"the second is on its way", {{one, two}, {two}, {one}, 3}, to_the_right_one().patient},
      {"only the second may be anywhere", {{two}, {}, {two}, 3}, ""},
      {"only the first may be anywhere", {{two}, {}, {one}, 3}, wrong},
  };
  for (const auto& row : rows) {
    const auto moved = house().move(row.session, to_the_right_one());
    if (row.back_from.empty()) {
      EXPECT_EQ(moved.error().code, base::ErrorCode::kInvalid) << row.what;
      continue;
    }
    ASSERT_TRUE(moved.has_value()) << row.what << moved.error().text();
    const auto back = house().admit(moved->taken_back);
    EXPECT_TRUE(back.admitted && back.header.in_error) << row.what;
    EXPECT_EQ(back.header.patient_key, row.back_from) << row.what;
    EXPECT_EQ(back.header.revision, 3u) << row.what;
    EXPECT_NE(moved->entered.find(R"("value":94)"), std::string::npos) << moved->entered;
    EXPECT_EQ(house().admit(moved->entered).header.patient_key, to_the_right_one().patient);
  }
}

TEST(Moved, RefusesWhatCannotBeMoved) {
  const std::string body = sample("vitals");
  const auto patient = house().admit(body).header.patient_key;
  const struct {
    const char* what;
    void (*spoil)(Move& move, const std::string& patient);
    base::ErrorCode code;
  } rows[] = {
      {"no value", [](Move& m, const std::string&) { m.patient = "https://hill.example|"; },
       base::ErrorCode::kInvalid},
      {"no system", [](Move& m, const std::string&) { m.patient = "P-0202"; },
       base::ErrorCode::kInvalid},
      {"the same patient", [](Move& m, const std::string& p) { m.patient = p; },
       base::ErrorCode::kInvalid},
      {"half a stay", [](Move& m, const std::string&) { m.encounter = "|S-9"; },
       base::ErrorCode::kInvalid},
      {"no object", [](Move& m, const std::string&) { m.known = "[1]"; },
       base::ErrorCode::kInvalid},
      {"entries of others", [](Move& m, const std::string&) { m.known = R"({"entry": []})"; },
       base::ErrorCode::kInvalid},
  };
  for (const auto& row : rows) {
    Move move = to_the_right_one();
    row.spoil(move, patient);
    const auto moved = move_one(body, move);
    ASSERT_FALSE(moved.has_value()) << row.what;
    EXPECT_EQ(moved.error().code, row.code) << row.what;
  }
}

TEST(Moved, WhatWasTakenBackIsNotMovedAgain) {
  const auto once = move_one(sample("vitals"), to_the_right_one());
  ASSERT_TRUE(once.has_value());
  const auto twice = move_one(once->taken_back, to_the_right_one());
  ASSERT_FALSE(twice.has_value());
  EXPECT_EQ(twice.error().code, base::ErrorCode::kConflict);
}

}  // namespace
}  // namespace engine::therapy
