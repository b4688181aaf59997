// What the revisions before still say: those that were given up nothing, the others what they said
// when they were taken in, whatever profiles are in force by now.

#include <algorithm>
#include <iterator>
#include <memory>

#include <gtest/gtest.h>

#include "engine/therapy/moved.h"
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

std::string without_v3(std::string body) {
  const std::size_t from = body.find("    {\n      \"id\": \"v3\"");
  const std::size_t comma = body.rfind(',', from);
  return body.erase(comma, body.find("\n    }", from) + 6 - comma);
}

// It was held, and the next one superseded it: what the sender took back with it stays so.
TEST(EarlierRevisions, OfOnesThatWereNeverSentWhatTheyTakeBackCounts) {
  const Revision one{sample("vitals"), kFirst};
  const Translation of_first = house().translate({&one, 1});
  const auto all = static_cast<std::ptrdiff_t>(lines(of_first.bundle).size()) - 1;
  const std::string withdrawing = second(
      replaced(without_v3(sample("vitals")), "\"entry\": [",
               R"("withdrawal": [{ "entry": "v3", "reason": "Other patient" }], "entry": [)"));
  const std::string rest = without_v3(third(sample("vitals")));
  Revision three{rest, kSecond};
  const auto translate = [&] {
    const Revision both[] = {one, three};
    return house().translate(both);
  };
  EXPECT_EQ(count(lines(translate().bundle), "entered-in-error"), 0) << "missing stays as it was";
  three.unsent_before = {withdrawing};
  const Translation made = translate();
  ASSERT_EQ(made.verdict, Verdict::kReady) << fhir::to_operation_outcome(made.issues);
  EXPECT_GT(count(lines(made.bundle), "entered-in-error"), 0);
  EXPECT_LT(count(lines(made.bundle), "entered-in-error"), all);
  three.unsent_before = {replaced(second(sample("vitals")), "\"status\": \"closed\"",
                                  "\"status\": \"entered-in-error\"")};
  three.body = rest;
  const Translation whole = translate();
  EXPECT_EQ(whole.verdict, Verdict::kReady);
  EXPECT_EQ(lines(whole.bundle), lines(made.bundle)) << "v3 is all that is not said again";
  const std::size_t change = three.body.find("\"change\"");
  three.body.erase(change, three.body.find("},", change) + 2 - change);
  EXPECT_EQ(translate().hold_reason, "reason-missing");
  // Its own list says why; and what a revision that was sent has taken back is asked about no more.
  const std::string bare = three.body;
  three.body =
      replaced(bare, "\"entry\": [",
               R"("withdrawal": [{ "entry": "v3", "reason": "Other patient" }], "entry": [)");
  EXPECT_EQ(translate().hold_reason, "");
  Revision two{rest, kSecond};
  two.unsent_before = three.unsent_before;
  const Revision four{replaced(bare, "\"revision\": 3,", "\"revision\": 4,"), kThird};
  const Revision all_of_them[] = {one, two, four};
  EXPECT_EQ(house().translate(all_of_them).hold_reason, "");
  three.body = bare;
  three.unsent_before.clear();
  EXPECT_EQ(translate().hold_reason, "");
  three.body = sample("vitals");
  three.body = replaced(three.body, "\"revision\": 1", "\"revision\": 3");
  three.unsent_before = {withdrawing};
  EXPECT_EQ(count(lines(translate().bundle), "entered-in-error"), 0) << "said again";
}

// The sender, who was told that each was taken in, may think that all of it is in the chart.
TEST(EarlierRevisions, OfOnesThatWereNeverSentWhatIsSaidAgainAndWhatWouldBeLost) {
  const Revision one{sample("vitals"), kFirst};
  const std::string in_error = replaced(second(sample("vitals")), "\"status\": \"closed\"",
                                        "\"status\": \"entered-in-error\"");
  const std::string other_patient =
      replaced(second(replaced(sample("vitals"), "\"id\": \"v3\"", "\"id\": \"v7\"")),
               "\"value\": \"P-0007\"", "\"value\": \"P-0008\"");
  const std::string changed =
      replaced(second(sample("vitals")), "needed elsewhere", "needed somewhere else");
  struct Row {
    const char* name;
    std::vector<std::string> unsent;
    const char* hold;
    int in_error;
  };
  const Row table[] = {
      {"taken back and said again", {in_error, second(sample("vitals"))}, "", 0},
      {"said and taken back", {changed, in_error}, "", 1},
      {"a change", {changed}, "missing-entry", 0},
      {"a change and back again", {changed, second(sample("vitals"))}, "", 0},
      {"another patient's", {other_patient}, "", 0},
  };
  for (const Row& row : table) {
    Revision three{without_v3(third(sample("vitals"))), kSecond};
    three.unsent_before = row.unsent;
    const Revision both[] = {one, three};
    const Translation made = house().translate(both);
    EXPECT_EQ(made.hold_reason, row.hold) << row.name;
    EXPECT_EQ(count(lines(made.bundle), "entered-in-error") > 0, row.in_error > 0) << row.name;
  }
  // Nothing of the session is there yet.
  Revision two{without_v3(second(sample("vitals"))), kSecond};
  two.unsent_before = {one.body};
  EXPECT_EQ(house().translate({&two, 1}).hold_reason, "missing-entry");
  two.body = second(sample("vitals"));
  const Translation whole = house().translate({&two, 1});
  EXPECT_EQ(whole.hold_reason, "");
  two.unsent_before.clear();
  EXPECT_EQ(whole.bundle, house().translate({&two, 1}).bundle);
}

// What is missing in the list stays live wherever it is.
TEST(EarlierRevisions, WhatWasSentAndCannotBeReadBackHoldsForGood) {
  const Revision one{sample("self-care"), kFirst};
  const std::string whole = sent(house().translate({&one, 1}), "\"revision\":1,");
  Revision two{second(sample("self-care"), ""), kSecond};
  for (const std::string& list :
       {"[" + whole, "[" + whole + ",{\"revision\":1}]", whole, "[" + whole + ",7]"}) {
    two.sent_before = list;
    EXPECT_EQ(house().translate({&two, 1}).hold_reason, "bundle-unreadable");
    const Revision both[] = {one, two};
    EXPECT_EQ(house().translate(both).hold_reason, "bundle-unreadable");
  }
  // Also where a person may release what else is to be settled.
  two.body = replaced(two.body, "\"status\": \"closed\"", "\"status\": \"entered-in-error\"");
  EXPECT_EQ(house().translate({&two, 1}).hold_reason, "bundle-unreadable");
}

// A translator with a text of one profile changed.
std::unique_ptr<Translator> with_profile(const char* file, const char* from, const char* to) {
  Sources sources = testing::house_sources();
  for (base::SourceFile& one : sources.profiles) {
    if (one.name == file) {
      one.bytes = replaced(one.bytes, from, to);
    }
  }
  auto loaded = Translator::load(std::move(sources));
  if (!loaded) {
    ADD_FAILURE() << loaded.error().text();
    std::abort();
  }
  return std::move(*loaded);
}

// No pulse over 80 is possible any more: the sample has 88 and 90.
const Translator& stricter() {
  static const auto translator =
      with_profile("session/plausibility.json",
                   R"("refuse": { "low": 0, "high": 400 }, "confirm": { "low": 30, "high": 220 })",
                   R"("refuse": { "low": 0, "high": 80 }, "confirm": { "low": 30, "high": 80 })");
  return *translator;
}

// The sample without what is between two of its entries' ids.
std::string only_second_entry() {
  std::string body = replaced(sample("vitals"), "\"value\": 95", "\"value\": 96");
  const std::size_t first = body.find("    {\n      \"id\": \"v1\"");
  body.erase(first, body.find("    {\n      \"id\": \"v2\"") - first);
  const std::size_t third_entry = body.rfind(",\n    {\n      \"id\": \"v3\"");
  return body.erase(third_entry, body.rfind("\n  ]") - third_entry);
}

// As sent by the profiles of the day, and what a second revision makes of it by others.
Translation made_later(const Translator& by, const std::string& body) {
  const Revision one{sample("vitals"), kFirst};
  Revision two{body, kSecond};
  two.sent_before = "[" + sent(house().translate({&one, 1}), "\"revision\":1,") + "]";
  const Revision both[] = {one, two};
  return by.translate(both);
}

TEST(EarlierRevisions, WhatWasTakenInStaysWhateverTodaysLimitsAre) {
  ASSERT_FALSE(stricter().admit(sample("vitals")).admitted);
  const Translation made = made_later(stricter(), second(only_second_entry()));
  ASSERT_EQ(made.verdict, Verdict::kReady) << fhir::to_operation_outcome(made.issues);
  EXPECT_EQ(count(lines(made.bundle), "Observation corrected 96"), 1);
  EXPECT_EQ(count(lines(made.bundle), "entered-in-error"), 0);
  EXPECT_EQ(made.bundle, made_later(house(), second(only_second_entry())).bundle);
  for (const char* id : {"'v1' was sent before and is missing now", "'v3' was sent before"}) {
    EXPECT_NE(fhir::to_operation_outcome(made.issues).find(id), std::string::npos) << id;
  }
  // The newest is judged by them.
  EXPECT_EQ(made_later(stricter(), second(sample("vitals"))).verdict, Verdict::kRefused);
}

TEST(EarlierRevisions, WhatCannotBeMadeAnyMoreIsNamedAndNotTakenBack) {
  const auto other = with_profile("session/ValueSet-session-pulse-source.json",
                                  R"("code": "oximeter")", R"("code": "meter")");
  const Translation made = made_later(*other, second(only_second_entry()));
  EXPECT_EQ(made.verdict, Verdict::kHeld);
  EXPECT_EQ(made.hold_reason, "not-admitted");
  EXPECT_EQ(made.bundle, "") << "nobody can let it go";
  const std::string outcome = fhir::to_operation_outcome(made.issues);
  EXPECT_NE(outcome.find("Entry 'v1' of revision 1"), std::string::npos) << outcome;
  EXPECT_NE(outcome.find("'oximeter' is not allowed here"), std::string::npos) << outcome;
  // Taken back it can be all the same, and withdrawn.
  const std::string back = replaced(second(sample("vitals")), "\"closed\"", "\"entered-in-error\"");
  EXPECT_EQ(made_later(*other, back).verdict, Verdict::kReady);
  const Translation without = made_later(
      *other, replaced(second(only_second_entry()), "\"entry\": [",
                       R"("withdrawal": [{ "entry": "v1", "reason": "Misread" }], "entry": [)"));
  EXPECT_EQ(without.verdict, Verdict::kReady) << fhir::to_operation_outcome(without.issues);
}

TEST(EarlierRevisions, AMovedSessionHasAllThatWasSaid) {
  const Revision both[] = {{sample("vitals"), kFirst}, {second(only_second_entry()), kSecond}};
  Move move;
  move.patient = "https://hill.example/ids/patient|P-0202";
  move.actor = "Robin Sample";
  move.why = "Charted on the wrong bed";
  move.time = kThird;
  // Of what is refused by now intake says so; nothing of it is lost on the way.
  for (const std::vector<Revision>& said :
       {std::vector<Revision>(std::begin(both), std::end(both)), std::vector<Revision>{both[0]}}) {
    const auto moved = stricter().move({said, {said.back()}, {}, 3}, move);
    ASSERT_TRUE(moved.has_value()) << moved.error().text();
    EXPECT_TRUE(stricter().admit(moved->taken_back).admitted);
    for (const char* id : {"\"v1\"", "\"v2\"", "\"v3\""}) {
      EXPECT_NE(moved->entered.find(id), std::string::npos) << id;
    }
  }
}

// A value, or a list of codes, that changed since must not keep it in the chart.
TEST(TakingBack, IsRefusedForItsHeaderAndItsFormAlone) {
  const std::string back = replaced(second(sample("vitals")), "\"closed\"", "\"entered-in-error\"");
  const struct {
    const char* from;
    const char* to;
    bool admitted;
  } table[] = {
      {"\"value\": 88", "\"value\": 880", true},
      {"\"unit\": \"/min\"", "\"unit\": \"per minute\"", true},
      {"\"oximeter\"", "\"tail\"", true},
      {"\"Ward 4, Hill Example Hospital\"", "\"W\"", true},
      {"\"encounter\"", "\"weight\": { \"value\": 9000, \"unit\": \"kg\" }, \"encounter\"", true},
      {"\"time\": \"2026-03-02T09:20:00+01:00\"", "\"time\": \"2036\"", true},
      {"\"id\": \"v2\"", "\"id\": \"v1\"", true},
      {"\"vitals\": {", "\"vitals\": 5, \"vital\": {", true},
      {"The oximeter was", "The \\u0007 was", true},
      {"\"change\"", "\"chnage\"", false},
      {"\"system\": \"https://hill.example/ids/patient\",", "", false},
      {"\"discipline\": \"RT\",", "", false},
      {"\"revision\": 2", "\"revision\": \"2\"", false},
      {"\"Misread\"", "\"Mis\\u0007read\"", false},
      {"\"Robin Sample\"", "\"\"", false},
      {"\"end\": \"2026-03-02T09:40:00+01:00\"", "\"end\": \"2026-03-02T08:40:00+01:00\"", false},
  };
  for (const auto& row : table) {
    const std::string body = replaced(back, row.from, row.to);
    const Translator::Admission admission = house().admit(body);
    EXPECT_EQ(admission.admitted, row.admitted)
        << row.to << fhir::to_operation_outcome(admission.issues);
    EXPECT_EQ(made_later(house(), body).verdict,
              row.admitted || std::string_view(row.to).find("u0007") != std::string_view::npos
                  ? Verdict::kReady
                  : Verdict::kRefused)
        << row.to;
  }
}

TEST(TakingBack, ByStricterLimitsTakesAllOfItBack) {
  const std::string back = replaced(second(sample("vitals")), "\"closed\"", "\"entered-in-error\"");
  EXPECT_TRUE(stricter().admit(back).admitted);
  const Revision one{sample("vitals"), kFirst};
  const std::size_t all = lines(house().translate({&one, 1}).bundle).size();
  const Translation made = made_later(stricter(), back);
  ASSERT_EQ(made.verdict, Verdict::kReady) << fhir::to_operation_outcome(made.issues);
  EXPECT_EQ(count(lines(made.bundle), "entered-in-error"), static_cast<std::ptrdiff_t>(all) - 1);
  const std::string silent = replaced(back, R"("change": { "reason": "Misread" },)", "");
  EXPECT_EQ(made_later(stricter(), silent).hold_reason, "reason-missing");
}

// Who takes a session back and says some of it again says no more than that.
TEST(TakingBack, IsNotUndoneForWhatIsNotSaidAgain) {
  const std::string back = replaced(second(sample("vitals")), "\"closed\"", "\"entered-in-error\"");
  const Revision all[] = {
      {sample("vitals"), kFirst},
      {back, kSecond},
      {replaced(second(only_second_entry()), "\"revision\": 2,", "\"revision\": 3,"), kThird}};
  const Translation made = house().translate(all);
  ASSERT_EQ(made.verdict, Verdict::kReady) << fhir::to_operation_outcome(made.issues);
  const std::vector<std::string> got = lines(made.bundle);
  EXPECT_NE(count(got, " 96"), 0) << ::testing::PrintToString(got);
  EXPECT_EQ(count(got, " 95"), 0) << ::testing::PrintToString(got);
  for (const char* value : {" 88", " 124", " 90"}) {
    EXPECT_EQ(count(got, value), 0) << value << " of an entry that was not said again";
  }
}

}  // namespace
}  // namespace engine::therapy
