// What the reports tell of a journal that is written here record by record.

#include "engine/replay/reports.h"

#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/delivery/exchange.h"
#include "engine/journal/sqlite_store.h"
#include "engine/replay/delay.h"
#include "tests/journal/fixture.h"

namespace engine::replay {
namespace {

using journal::Change;
using journal::Kind;
using journal::Record;

// 1 800 000 000 seconds after 1970 are 2027-01-15T08:00:00Z.
constexpr std::int64_t kStart = 1'800'000'000;

class ReportsTest : public ::testing::Test {
 protected:
  void SetUp() override {
    auto opened = journal::open_sqlite_store({folder_.file("journal"), journal::OpenMode::kEngine});
    ASSERT_TRUE(opened.has_value());
    store_ = std::move(*opened);
  }
  void at(std::int64_t seconds) { clock_.set(std::chrono::seconds(kStart + seconds)); }
  journal::Position write(Record record, const std::string& document = "") {
    Change change(std::move(record));
    if (!document.empty()) {
      change.parts.push_back(journal::to_stored(journal::Part("document", document)));
    }
    const auto outcome = journal::write(*store_, clock_, std::move(change));
    EXPECT_TRUE(outcome.has_value());
    return outcome->position;
  }
  void accept(const std::string& session, std::uint32_t revision, const std::string& document,
              const std::string& patient = "p") {
    Record record = journal::record_of(Kind::kAccepted, session, revision);
    record.patient = patient;
    record.therapist = "t";
    record.content = document;
    std::erase(record.content, '\n');
    write(record, document);
  }
  void happen(Kind kind, const std::string& session, std::uint32_t revision = 1, int status = 0,
              bool unknown = false) {
    Record record = journal::record_of(kind, session, revision);
    record.status = status;
    record.unknown = unknown;
    write(record);
  }
  void read_by(const std::string& actor, const std::string& session,
               const std::string& patient = "") {
    Record record;
    record.kind = Kind::kRead;
    record.session = session;
    record.patient = patient;
    record.actor = actor;
    record.why = "asked";
    write(record);
  }
  std::string disclosed(const std::string& patient, const Range& range = {}) {
    std::string out;
    const auto done = disclosures(*store_, patient, range, [&out](const Disclosure& one) {
      out += std::string(name_of(one.what)) + " " + one.record.session + one.record.actor + ", ";
    });
    EXPECT_TRUE(done.has_value());
    return out;
  }

  journal::TemporaryFolder folder_;
  journal::SetClock clock_;
  std::unique_ptr<journal::Store> store_;
};

TEST_F(ReportsTest, DisclosuresAreThoseOfThePatientOnly) {
  accept("a", 1, "{}");
  accept("b", 1, "{}", "q");
  accept("c", 1, "{}");
  happen(Kind::kDispatched, "a");
  happen(Kind::kLanded, "a", 1, 200);
  happen(Kind::kLanded, "b", 1, 200);
  happen(Kind::kDispatched, "c");
  happen(Kind::kAnswered, "c", 1, 0, true);
  happen(Kind::kDispatched, "c");
  happen(Kind::kHeld, "c", 1, 422);
  read_by("Robin", "a");
  read_by("Alex", "", "p");
  read_by("Kim", "", "q");
  read_by("Jo", "b");
  EXPECT_EQ(disclosed("p"), "landed a, read aRobin, may-have-landed c, not-taken c, read Alex, ");
  EXPECT_EQ(disclosed("nobody"), "");
}

TEST_F(ReportsTest, AHoldBeforeAnythingWasSentIsNoDisclosure) {
  accept("a", 1, "{}");
  happen(Kind::kHeld, "a");
  EXPECT_EQ(disclosed("p"), "");
}

TEST_F(ReportsTest, WhatHadNothingToSendIsNoDisclosure) {
  accept("a", 1, "{}");
  happen(Kind::kDispatched, "a");
  Record nothing = journal::record_of(Kind::kLanded, "a", 1);
  nothing.reason = delivery::kNothingToSend;
  write(nothing);
  EXPECT_EQ(disclosed("p"), "");
}

TEST_F(ReportsTest, WhatWasSentAndNeverAnsweredMayHaveLanded) {
  accept("a", 1, "{}");
  happen(Kind::kDispatched, "a");  // the engine ended here, and again below
  happen(Kind::kStarted, "");
  happen(Kind::kDispatched, "a");
  happen(Kind::kStarted, "");
  happen(Kind::kDispatched, "a");
  happen(Kind::kAnswered, "a", 1, 413);  // goes in pieces from here on
  happen(Kind::kDispatched, "a");
  happen(Kind::kStarted, "");
  happen(Kind::kWithdrawn, "a");
  EXPECT_EQ(disclosed("p"),
            "may-have-landed a, may-have-landed a, not-taken a, may-have-landed a, ");
}

TEST_F(ReportsTest, ASendIsAnsweredByItsOwnTargetAndRevision) {
  accept("a", 1, "{}");
  accept("a", 2, "{ }");
  happen(Kind::kDispatched, "a");
  Record elsewhere = journal::record_of(Kind::kDispatched, "a", 1, "second");
  write(elsewhere);
  happen(Kind::kLanded, "a", 1, 200);
  happen(Kind::kDispatched, "a", 2);
  happen(Kind::kAnswered, "a", 2);  // nothing went out: nobody was there
  elsewhere.kind = Kind::kWithdrawn;
  write(elsewhere);
  EXPECT_EQ(disclosed("p"), "may-have-landed a, landed a, ");
}

TEST_F(ReportsTest, AnAnswerBehindTheRangeIsAnAnswer) {
  accept("a", 1, "{}");
  accept("b", 1, "{}");
  happen(Kind::kDispatched, "a");
  happen(Kind::kDispatched, "b");
  at(120);
  happen(Kind::kLanded, "a", 1, 200);
  EXPECT_EQ(disclosed("p", {"", "2027-01-15T08:01:00Z"}), "may-have-landed b, ");
  EXPECT_EQ(disclosed("p", {"2027-01-15T08:01:00Z", ""}), "landed a, ");
}

TEST_F(ReportsTest, ARangeIsOfTheDisclosureNotOfTheTreatment) {
  accept("a", 1, "{}");
  at(60);
  happen(Kind::kLanded, "a");
  at(120);
  read_by("Robin", "a");
  EXPECT_EQ(disclosed("p", {"2027-01-15T08:01:00Z", "2027-01-15T08:02:00Z"}), "landed a, ");
  EXPECT_EQ(disclosed("p", {"2027-01-15T08:02:00Z", ""}), "read aRobin, ");
}

TEST_F(ReportsTest, ManyPagesAreReadOnceEach) {
  accept("a", 1, "{}");
  for (int i = 0; i < 600; ++i) {
    read_by("r", "a");
  }
  std::size_t count = 0;
  std::uint64_t last = 0;
  ASSERT_TRUE(disclosures(*store_, "p", {}, [&](const Disclosure& one) {
                EXPECT_GT(one.record.position, last);
                last = one.record.position;
                ++count;
              }).has_value());
  EXPECT_EQ(count, 600U);
}

TEST_F(ReportsTest, ActivityNamesTheReasonOfAChange) {
  accept("a", 1, "{}");
  accept("a", 2, R"({"change":{"reason":"Misread"}})");
  read_by("Robin", "a");
  read_by("Alex", "a");
  const auto acts = [&](const Person& person) {
    std::string out;
    EXPECT_TRUE(activity(*store_, person, {}, [&out](const Record& record, const std::string& why) {
                  out += std::string(journal::name_of(record.kind)) + "/" +
                         std::to_string(record.revision) + " " + why + ", ";
                }).has_value());
    return out;
  };
  EXPECT_EQ(acts({"t", ""}), "accepted/1 , accepted/2 Misread, ");
  EXPECT_EQ(acts({"", "Robin"}), "read/0 asked, ");
  EXPECT_EQ(acts({"t", "Alex"}), "accepted/1 , accepted/2 Misread, read/0 asked, ");
  EXPECT_EQ(acts({"u", "Kim"}), "");
}

// Who looks for a therapist's sessions is written down with the therapist.
TEST_F(ReportsTest, ALookAtSomebodyIsNoActOfTheirs) {
  accept("a", 1, "{}");
  for (const Kind kind : {Kind::kRead, Kind::kAlsoFor, Kind::kHandedOut}) {
    Record record;
    record.kind = kind;
    record.therapist = "t";
    record.session = "a";
    record.actor = "Kim Auditor";
    write(record);
  }
  std::string out;
  const auto tell = [&out](const Record& record, const std::string&) {
    out += std::string(journal::name_of(record.kind)) + " ";
  };
  ASSERT_TRUE(activity(*store_, {"t", ""}, {}, tell).has_value());
  EXPECT_EQ(out, "accepted handed-out ");
  out.clear();
  ASSERT_TRUE(activity(*store_, {"t", "Kim Auditor"}, {}, tell).has_value());
  EXPECT_EQ(out, "accepted read also-for handed-out ");
}

TEST_F(ReportsTest, CorrectionsShowBeforeAndAfter) {
  accept("a", 1, R"({"status":"open","entry":[{"id":"e1","walk":{"distance":{"value":80}}}]})");
  // Goes on: nothing is corrected.
  accept(
      "a", 2,
      R"({"status":"closed","entry":[{"id":"e1","walk":{"distance":{"value":80}}},{"id":"e2"}]})");
  accept("a", 3,
         R"({"status":"closed","change":{"reason":"Misread","author":{"display":"Robin Sample"}},)"
         R"("entry":[{"id":"e2"},{"id":"e1","walk":{"distance":{"value":80.0}}}]})");
  accept("b", 1, "{}", "q");
  accept("b", 2, R"({"change":{"reason":"other"},"status":"closed"})", "q");
  std::vector<Correction> found;
  ASSERT_TRUE(corrections(*store_, "p", {}, [&found](const Correction& one) {
                found.push_back(one);
              }).has_value());
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].record.revision, 3U);
  EXPECT_EQ(found[0].earlier, 2U);
  EXPECT_EQ(found[0].reason, "Misread");
  EXPECT_EQ(found[0].author, "Robin Sample");
  ASSERT_EQ(found[0].changes.size(), 1U) << "the order of entries is no change";
  EXPECT_EQ(found[0].changes[0].path, "entry[e1].walk.distance.value");
  EXPECT_EQ(found[0].changes[0].before, "80");
  EXPECT_EQ(found[0].changes[0].after, "80.0") << "digits are data";
}

TEST_F(ReportsTest, BeforeIsWhatTheChartHad) {
  const auto take_in = [this](const std::string& session, std::uint32_t revision, int value) {
    const std::string document =
        R"({"change":{"reason":"Misread"},"value":)" + std::to_string(value) + "}";
    Record record = journal::record_of(Kind::kAccepted, session, revision);
    record.patient = "p";
    record.content = document;
    record.targets = "main";
    write(record, document);
  };
  const auto told = [this] {
    std::string out;
    const auto done = corrections(*store_, "p", {}, [&out](const Correction& one) {
      for (const ElementChange& change : one.changes) {
        out += one.record.session + std::to_string(one.record.revision) + " corrects " +
               std::to_string(one.earlier) + ": " + change.before + " to " + change.after + ", ";
      }
    });
    EXPECT_TRUE(done.has_value());
    return out;
  };
  take_in("a", 1, 95);
  happen(Kind::kLanded, "a", 1, 200);
  take_in("a", 2, 92);
  happen(Kind::kHeld, "a", 2);
  happen(Kind::kWithdrawn, "a", 2);
  take_in("a", 3, 94);
  EXPECT_EQ(told(), "a2 corrects 1: 95 to 92, a3 corrects 1: 95 to 94, ");
  happen(Kind::kLanded, "a", 3, 200);
  take_in("a", 4, 93);
  // Nothing of it ever landed: what was taken in is all there is.
  take_in("b", 1, 80);
  happen(Kind::kHeld, "b", 1);
  take_in("b", 2, 81);
  EXPECT_EQ(told(),
            "a2 corrects 1: 95 to 92, a3 corrects 1: 95 to 94, a4 corrects 3: 94 to 93, "
            "b2 corrects 1: 80 to 81, ");
}

// What the chart has after each revision is written beside it.
TEST_F(ReportsTest, WhatARevisionLeavesOutStaysAndIsNoChange) {
  const auto take_in = [this](std::uint32_t revision, const std::string& said, Kind became) {
    accept("a", revision, R"({"change":{"reason":"Misread"},)" + said + "}");
    happen(became, "a", revision);
  };
  const auto told = [this] {
    std::string out;
    const auto done = corrections(*store_, "p", {}, [&out](const Correction& one) {
      out += std::to_string(one.record.revision) + " " + one.states + ":";
      for (const ElementChange& change : one.changes) {
        out += " " + change.path + " " + change.before + ">" + change.after;
      }
      out += "\n";
    });
    EXPECT_TRUE(done.has_value());
    return out;
  };
  take_in(1, R"("entry":[{"id":"e1","v":92},{"id":"e2","v":1}])", Kind::kLanded);
  take_in(2, R"("entry":[{"id":"e2","v":2}])", Kind::kLanded);    // e1 92, e2 2
  take_in(3, R"("entry":[{"id":"e1","v":101}])", Kind::kLanded);  // e1 101, e2 2
  take_in(4, R"("withdrawal":[{"entry":"e1"}])", Kind::kLanded);  // e2 2
  take_in(5, R"("entry":[{"id":"e2","v":3}])", Kind::kLanded);    // e2 3
  EXPECT_EQ(told(),
            "2 main landed: entry[e2].v 1>2\n"
            "3 main landed: entry[e1].v 92>101\n"
            "4 main landed: entry[e1] {\"id\":\"e1\",\"v\":101}> withdrawal "
            ">[{\"entry\":\"e1\"}]\n"
            "5 main landed: entry[e2].v 2>3\n");
  // The sixth is never sent: what it says of e3 is nowhere, and e2 goes with the next.
  take_in(6, R"("withdrawal":[{"entry":"e2"}],"entry":[{"id":"e3","v":7}])", Kind::kHeld);
  take_in(7, R"("entry":[{"id":"e4","v":8}])", Kind::kLanded);  // e4 8
  take_in(8, R"("entry":[{"id":"e4","v":9}])", Kind::kHeld);
  const std::string all = told();
  EXPECT_EQ(all.substr(all.find("6 ")),
            "6 main superseded: entry[e2] {\"id\":\"e2\",\"v\":3}> entry[e3] "
            ">{\"id\":\"e3\",\"v\":7} withdrawal >[{\"entry\":\"e2\"}]\n"
            "7 main landed: entry[e2] {\"id\":\"e2\",\"v\":3}> entry[e4] >{\"id\":\"e4\",\"v\":8}\n"
            "8 main held: entry[e4].v 8>9\n");
  // Nothing of the session stays.
  take_in(9, R"("status":"entered-in-error","entry":[])", Kind::kLanded);
  const std::string rest = told();
  EXPECT_EQ(rest.substr(rest.find("9 ")),
            "9 main landed: entry[e4] {\"id\":\"e4\",\"v\":8}> status >\"entered-in-error\"\n");
}

TEST_F(ReportsTest, WhatWasDestroyedIsNamedInsteadOfTold) {
  accept("a", 1, "{}");
  accept("a", 2, R"({"change":{"reason":"Misread"},"status":"closed"})");
  happen(Kind::kLanded, "a", 1);
  happen(Kind::kLanded, "a", 2);
  Record shredded;
  shredded.kind = Kind::kShredded;
  shredded.patient = "p";
  shredded.actor = "Robin Sample";
  const journal::Position by = write(shredded);
  ASSERT_EQ(by, 5U);
  const std::string said = "(it was destroyed on 2027-01-15 by Robin Sample; record 5 says why)";
  std::vector<Correction> found;
  ASSERT_TRUE(corrections(*store_, "p", {}, [&found](const Correction& one) {
                found.push_back(one);
              }).has_value());
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].reason, said);
  EXPECT_TRUE(found[0].changes.empty());
  std::vector<std::string> reasons;
  ASSERT_TRUE(activity(*store_, {"t", ""}, {}, [&](const Record&, const std::string& why) {
                reasons.push_back(why);
              }).has_value());
  EXPECT_EQ(reasons, (std::vector<std::string>{"", said}));
  EXPECT_EQ(disclosed("p"), "landed a, landed a, ");
  const auto measured = delays(*store_, {});
  ASSERT_TRUE(measured.has_value()) << measured.error().text();
  EXPECT_EQ(measured->untimed, 1U);
}

TEST(DocumentChanges, FindWhatCameWentAndChanged) {
  const auto found = document_changes(R"({"a":1,"b":[1,2],"c":{"d":"x"},"entry":[{"id":"k"}]})",
                                      R"({"b":[1,3,4],"c":{"d":true},"f":"new","entry":[]})");
  ASSERT_TRUE(found.has_value());
  std::string told;
  for (const ElementChange& one : *found) {
    told += one.path + ": " + one.before + " -> " + one.after + "; ";
  }
  EXPECT_EQ(told,
            "a: 1 -> ; b[1]: 2 -> 3; b[2]:  -> 4; c.d: \"x\" -> true; "
            "entry[k]: {\"id\":\"k\"} -> ; f:  -> \"new\"; ");
  EXPECT_FALSE(document_changes("{", "{}").has_value());
}

TEST(DocumentChanges, ALongElementIsCutBetweenCharacters) {
  std::string words;
  for (int i = 0; i < 300; ++i) {
    words += "\xC3\xA9";
  }
  for (const std::string& shift : {std::string(), std::string("x")}) {
    const auto found = document_changes("{}", "{\"n\":\"" + shift + words + "\"}");
    ASSERT_EQ(found->size(), 1U);
    const std::string& shown = (*found)[0].after;
    EXPECT_LE(shown.size(), 203U);
    EXPECT_EQ(shown.substr(shown.size() - 5), "\xC3\xA9...");
  }
}

// Nearest rank on the values themselves; buckets may tell at most 1 in 64 more.
TEST(Delay, QuantilesAgreeWithSortedValues) {
  Delays delays;
  std::vector<std::int64_t> values;
  for (std::int64_t i = 1; i <= 1'000; ++i) {
    values.push_back(i * i);  // up to eleven days
    delays.add(i * i * 1'000);
  }
  for (const double share : {0.01, 0.5, 0.9, 0.99}) {
    const std::int64_t exact = values[static_cast<std::size_t>(share * 1'000) - 1];
    EXPECT_GE(delays.seconds_at(share), exact) << share;
    EXPECT_LE(delays.seconds_at(share), exact + exact / 64 + 1) << share;
  }
  EXPECT_EQ(delays.seconds_at(1.0), 1'000'000);
  EXPECT_EQ(delays.worst(), 1'000'000);
}

TEST(Delay, EdgesOfTheDistribution) {
  Delays none;
  EXPECT_EQ(none.seconds_at(0.5), 0);
  Delays one;
  one.add(-5'000);
  EXPECT_EQ(one.seconds_at(0.5), 0);
  EXPECT_EQ(one.early(), 1U);
  one.add(std::int64_t{400} * 365 * 24 * 3'600 * 1'000);  // centuries: a wrong year
  EXPECT_EQ(one.worst(), std::int64_t{400} * 365 * 24 * 3'600);
  EXPECT_GT(one.seconds_at(1.0), std::int64_t{60} * 365 * 24 * 3'600);
}

TEST_F(ReportsTest, DelayIsThatOfTheFirstLanding) {
  const std::string robin = R"("therapist":{"display":"Robin Sample"})";
  at(60);
  accept("a", 1, R"({"period":{"end":"2027-01-15T09:00:00+01:00"},)" + robin + "}");
  at(90);
  happen(Kind::kLanded, "a");
  Record nothing = journal::record_of(Kind::kLanded, "b", 1);
  nothing.reason = delivery::kNothingToSend;
  write(nothing);  // tells nothing of when it came there
  // Still going on: from its latest entry.
  at(600);
  accept("b", 1,
         R"({"period":{"start":"2027-01-15T07:00:00Z"},"entry":[{"time":"2027-01-15T08:05:00Z"},)"
         R"({"time":"2027-01-15T08:01:00Z"}],"therapist":{"display":"Alex"}})");
  at(620);
  happen(Kind::kLanded, "b");
  at(90'000);
  accept("a", 2, R"({"period":{"end":"2027-01-15T09:00:00+01:00"},)" + robin + "}");
  happen(Kind::kLanded, "a", 2);
  accept("c", 1, "{}");
  happen(Kind::kLanded, "c");
  const auto report = delays(*store_, {});
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->untimed, 1U);
  std::string told;
  for (const DelayRow& row : report->rows) {
    told += row.therapist + " " + std::to_string(row.landed.count()) + " " +
            std::to_string(row.accepted.worst()) + " " + std::to_string(row.landed.worst()) + ", ";
  }
  // 09:00+01:00 is 08:00Z: 60 s to taken in, 90 to landed. 08:05Z: 300 and 320.
  EXPECT_EQ(told, " 2 300 320, Alex 1 300 320, Robin Sample 1 60 90, ");
}

}  // namespace
}  // namespace engine::replay
