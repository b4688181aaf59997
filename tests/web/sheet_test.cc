// A patient's link: handed out, read, reported by, ended; and what it does not tell.
#include <chrono>
#include <future>
#include <string>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "engine/web/sheet_limits.h"
#include "engine/web/sheet_report.h"
#include "tests/web/api_fixture.h"

namespace engine::web {
namespace {

namespace limits = base::limits;

constexpr const char* kWard =
    R"({"facility":{"display":"Ward 4"},"sheet":{"stop":["Stop when dizzy"],"call":["The nurse"]},)"
    R"("therapist":[{"identifier":{"system":"st","value":"T"},"display":"Robin","discipline":"RT",)"
    R"("role":"therapist"},{"display":"Lee","discipline":"PT","role":"assistant"}],)"
    R"("patient":[{"bed":"1","name":"Alder Example","patient":{"identifier":{"system":"p",)"
    R"("value":"1"},"birthDate":"1958-06-14"},"order":{"saturationTarget":{"low":{"value":94}},)"
    R"("limits":{"pulseMax":{"value":130}},"breathing":{"breathsPerSet":10}}},)"
    R"({"bed":"2","name":"Birch Example","sheet":{"call":["Extension 7"]},)"
    R"("patient":{"identifier":{"system":"p","value":"2"}}}]})";

class SheetTest : public ApiTest {
 protected:
  void SetUp() override {
    ApiTest::SetUp();
    ward_ = std::string(kWard);
  }
  static std::string body(const std::string& patient, const std::string& display = "Robin") {
    return R"({"patient":{"system":"p","value":")" + patient +
           R"("},"therapist":{"system":"st","value":"T","display":")" + display + "\"}}";
  }
  std::string token_of(const std::string& patient) {
    const RawClient::Answer answer = ask("POST", "/sheets", body(patient));
    EXPECT_EQ(answer.status, 201) << answer.body;
    const std::size_t at = answer.body.find(R"("token":")") + 9;
    return answer.body.substr(at, limits::kSheetTokenChars);
  }
  RawClient::Answer plan(const std::string& token) {
    return ask("POST", "/sheet/plan", R"({"token":")" + token + "\"}");
  }
  static std::string set(const std::string& id, const std::string& time) {
    return R"({"id":")" + id + R"(","time":")" + time + R"(","set":{"breaths":10}})";
  }
  RawClient::Answer report(const std::string& token, const std::string& entries,
                           const std::string& back = "") {
    return ask("POST", "/sheet/records",
               R"({"token":")" + token + R"(","entries":[)" + entries + R"(],"takenBack":[)" +
                   back + "]}");
  }
  void pass(std::chrono::seconds time) { clock_.set(std::chrono::seconds(1'800'000'000) + time); }
  std::vector<journal::Record> records(journal::Kind kind) {
    journal::Query query;
    query.kind = kind;
    return *store_->search(query);
  }
  std::string document(std::uint32_t revision) {
    for (const journal::Record& one : records(journal::Kind::kAccepted)) {
      if (one.revision == revision) {
        return *store_->part(one.position, "document");
      }
    }
    return "none";
  }
};

TEST_F(SheetTest, TheLinkTellsThePlanOfOnePatientAndNothingElse) {
  const RawClient::Answer answer = plan(token_of("1"));
  EXPECT_EQ(answer.status, 200);
  EXPECT_EQ(answer.body,
            R"({"name":"Alder Example","facility":"Ward 4","breathing":{"breathsPerSet":10},)"
            R"("saturationTarget":{"low":{"value":94}},"stop":["Stop when dizzy"],)"
            R"("call":["The nurse"],"expires":"2027-01-16T08:00:00.000Z","reported":[]})");
  const auto reads = reads_noted();
  ASSERT_EQ(reads.size(), 1U);
  EXPECT_EQ(reads[0].patient, key_.hide("p|1"));
}

TEST_F(SheetTest, APatientsOwnWordsStandForTheWards) {
  const RawClient::Answer answer = plan(token_of("2"));
  EXPECT_NE(answer.body.find(R"("stop":["Stop when dizzy"],"call":["Extension 7"])"),
            std::string::npos)
      << answer.body;
}

TEST_F(SheetTest, WhatIsReportedIsASessionOfThePatientsByTheTherapist) {
  const std::string token = token_of("1");
  const std::string one = set("e-1", "2027-01-15T08:00:00+00:00");
  const RawClient::Answer first = report(token, one);
  EXPECT_EQ(first.status, 202) << first.body;
  EXPECT_EQ(first.body, "{\"reported\":[" + one + "]}");
  EXPECT_EQ(report(token, one).status, 200) << "sent again, it is the same";
  EXPECT_EQ(report(token, one + "," + set("e-2", "2027-01-15T08:01:00+00:00")).status, 202);
  const std::string made = document(2);
  for (const char* part : {R"("role":"patient")", R"("display":"Robin")", R"("value":"1")",
                           R"("id":"e-1")", R"("id":"e-2")", R"("pulseMax")"}) {
    EXPECT_NE(made.find(part), std::string::npos) << part << " in " << made;
  }
  EXPECT_EQ(made.find(token), std::string::npos);
  EXPECT_NE(plan(token).body.find("e-2"), std::string::npos);
  EXPECT_EQ(report(token, "", "\"e-1\"").status, 202);
  EXPECT_EQ(plan(token).body.find("e-1"), std::string::npos);
}

TEST_F(SheetTest, AReportJoinsWhatATherapistWroteInTheMeantime) {
  const std::string token = token_of("1");
  report(token, set("e-1", "2027-01-15T08:00:00+00:00"));
  std::string theirs = document(1);
  theirs.replace(theirs.find(R"("revision":1)"), 12, R"("revision":2)");
  theirs.insert(theirs.size() - 1, R"(,"attestation":[{"entry":["e-1"]}])");
  ASSERT_EQ(ask("POST", "/sessions", theirs).status, 202);
  EXPECT_EQ(report(token, set("e-2", "2027-01-15T08:01:00+00:00")).status, 202);
  EXPECT_NE(document(3).find("attestation"), std::string::npos);
  EXPECT_EQ(report(token, "", "\"e-1\"").status, 409);
}

TEST_F(SheetTest, OnlyATherapistOfTheWardHandsOutForAPatientOfTheWard) {
  EXPECT_EQ(ask("POST", "/sheets", body("9")).status, 404);
  EXPECT_EQ(ask("POST", "/sheets", body("1", "Somebody")).status, 404);
  EXPECT_EQ(ask("POST", "/sheets",
                R"({"patient":{"system":"p","value":"1"},"therapist":{"display":"Lee"}})")
                .status,
            422);
  EXPECT_EQ(ask("POST", "/sheets", "[]").status, 400);
  EXPECT_EQ(ask("POST", "/sheets", std::string(limits::kSheetBodyBytesMax + 1, ' ')).status, 413);
  ward_ = base::Error(base::ErrorCode::kNotFound, "no ward list here");
  EXPECT_EQ(ask("POST", "/sheets", body("1")).status, 404);
  EXPECT_TRUE(records(journal::Kind::kHandedOut).empty());
}

TEST_F(SheetTest, TheJournalKnowsWhoHandedOutAndNotTheLink) {
  const std::string token = token_of("1");
  const auto given = records(journal::Kind::kHandedOut);
  ASSERT_EQ(given.size(), 1U);
  EXPECT_EQ(given[0].actor, "Robin");
  EXPECT_EQ(given[0].patient, key_.hide("p|1"));
  EXPECT_EQ(store_->head_text(given[0].position)->find(token), std::string::npos);
  EXPECT_EQ(store_->part(given[0].position, "document")->find(token), std::string::npos);
}

TEST_F(SheetTest, WhoSignedInDidItWhomeverTheyName) {
  const auto of = [this](const std::string& caller) {
    std::promise<bool> given;
    sheets_->hand_out(
        {"p", "1"}, {"st", "T"}, "Robin", caller,
        [&](const base::Result<Sheets::HandedOut>& out) { given.set_value(out.has_value()); });
    EXPECT_TRUE(given.get_future().get());
  };
  of("Tess Example (tess)");
  const auto given = records(journal::Kind::kHandedOut);
  ASSERT_EQ(given.size(), 1U);
  EXPECT_EQ(given[0].actor, "Tess Example (tess)");
  EXPECT_EQ(given[0].therapist, key_.hide("st|T"));
  EXPECT_TRUE(given[0].why.ends_with(", in the name of Robin")) << given[0].why;
  std::promise<std::size_t> count;
  sheets_->end({"p", "1"}, {"st", "T"}, "Robin", "Tess Example (tess)",
               [&](const base::Result<std::size_t>& ended) { count.set_value(*ended); });
  EXPECT_EQ(count.get_future().get(), 1U);
  const auto ended = records(journal::Kind::kLinkEnded);
  ASSERT_EQ(ended.size(), 1U);
  EXPECT_EQ(ended[0].actor, "Tess Example (tess)");
  EXPECT_TRUE(ended[0].why.ends_with(", in the name of Robin")) << ended[0].why;
}

TEST_F(SheetTest, EveryLinkThatDoesNotWorkGetsTheSameAnswer) {
  const std::string ended = token_of("1");
  EXPECT_EQ(ask("POST", "/sheets/end", body("1")).body, R"({"ended":1})");
  const std::string left = token_of("2");
  std::string ward = kWard;
  ward.replace(ward.find(R"("value":"2")"), 11, R"("value":"3")");
  ward_ = ward;
  const RawClient::Answer unknown = plan(std::string(limits::kSheetTokenChars, '0'));
  EXPECT_EQ(unknown.status, 404);
  for (const std::string& token : {ended, left, std::string("short"), std::string()}) {
    const RawClient::Answer answer = plan(token);
    EXPECT_EQ(answer.status, 404) << token;
    EXPECT_EQ(answer.body, unknown.body) << token;
  }
  EXPECT_EQ(report(ended, set("e", "2027-01-15T08:00:00Z")).body, unknown.body);
  EXPECT_EQ(records(journal::Kind::kRefused).size(), 6U);
  // Who left the ward list may still send what was done before.
  EXPECT_EQ(report(left, set("e", "2027-01-15T08:00:00Z")).status, 202);
  EXPECT_EQ(ask("POST", "/sheets/end", body("2")).body, R"({"ended":1})");
  EXPECT_EQ(ask("POST", "/sheets/end", body("2")).body, R"({"ended":0})");
  EXPECT_EQ(ask("POST", "/sheets/end", body("2", "Somebody")).status, 404);
}

TEST_F(SheetTest, ALinkEndsByItself) {
  const std::string token = token_of("1");
  pass(limits::kSheetLifetime - std::chrono::seconds(1));
  EXPECT_EQ(plan(token).status, 200);
  pass(limits::kSheetLifetime);
  EXPECT_EQ(plan(token).status, 404);
  // What was done before and waited on a phone without a network.
  EXPECT_EQ(report(token, set("a", "2027-01-16T08:00:00Z")).status, 202);
  EXPECT_EQ(report(token, set("b", "2027-01-16T08:00:01Z")).status, 422);
  pass(limits::kSheetLifetime + limits::kSheetGrace);
  EXPECT_EQ(report(token, set("c", "2027-01-16T07:00:00Z")).status, 404);
}

TEST_F(SheetTest, TimesLieInTheTimeOfTheSheet) {
  const std::string token = token_of("1");
  EXPECT_EQ(report(token, set("a", "2027-01-15T08:05:00Z")).status, 202);
  const RawClient::Answer ahead = report(token, set("b", "2027-01-15T08:05:01Z"));
  EXPECT_EQ(ahead.status, 422);
  EXPECT_NE(ahead.body.find("phone's clock"), std::string::npos) << ahead.body;
  EXPECT_EQ(report(token, set("c", "2027-01-14T20:00:00Z")).status, 202);
  EXPECT_EQ(report(token, set("d", "2027-01-14T19:59:59Z")).status, 422);
  EXPECT_EQ(ask("POST", "/sheet/records", "{").status, 400);
}

TEST_F(SheetTest, SoManyLinksOfAPatientAreOpenAndNoMore) {
  for (std::size_t i = 0; i < limits::kSheetsOfPatientMax; ++i) {
    token_of("1");
  }
  EXPECT_EQ(ask("POST", "/sheets", body("1")).status, 409);
  token_of("2");
  EXPECT_EQ(ask("POST", "/sheets/end", body("1")).body,
            "{\"ended\":" + std::to_string(limits::kSheetsOfPatientMax) + "}");
  token_of("1");
}

TEST_F(SheetTest, AnEndingEngineTakesNothing) {
  const std::string token = token_of("1");
  stopping_ = true;
  EXPECT_EQ(report(token, set("a", "2027-01-15T08:00:00Z")).status, 503);
}

TEST(WrongLinks, AreCountedByAddressAndInAllAndForgottenAfterAWhile) {
  WrongLinks links;
  for (std::uint32_t i = 0; i < limits::kSheetTriesOfAddressMax; ++i) {
    EXPECT_TRUE(links.note("a", 1'000));
  }
  EXPECT_FALSE(links.note("a", 1'000));
  EXPECT_TRUE(links.note("b", 1'000));
  for (std::uint32_t i = limits::kSheetTriesOfAddressMax + 2; i < limits::kSheetTriesMax; ++i) {
    EXPECT_TRUE(links.note("x" + std::to_string(i), 1'000));
  }
  EXPECT_FALSE(links.note("c", 1'000));
  const std::int64_t later = 1'000 + std::chrono::milliseconds(limits::kSheetTriesWindow).count();
  EXPECT_TRUE(links.note("a", later));
}

}  // namespace
}  // namespace engine::web
