#include <atomic>
#include <csignal>
#include <fstream>
#include <string>
#include <thread>
#include <vector>

#include <sqlite3.h>
#include <sys/resource.h>

#include "engine/journal/journal.h"
#include "engine/journal/search_key.h"
#include "engine/journal/verify.h"
#include "tests/journal/fixture.h"

namespace engine::journal {
namespace {

class StoreTest : public ::testing::Test {
 protected:
  void SetUp() override { open(); }
  void open() {
    store_.reset();
    auto opened = open_sqlite_store({folder_.file("journal"), SqliteOptions::Mode::kEngine});
    ASSERT_TRUE(opened.has_value()) << opened.error().text();
    store_ = std::move(*opened);
  }
  Outcome write(Change change) {
    auto outcome = journal::write(*store_, clock_, std::move(change));
    EXPECT_TRUE(outcome.has_value()) << (outcome ? "" : outcome.error().text());
    return outcome ? *outcome : Outcome();
  }
  Outcome write(Kind kind, const std::string& session, std::uint32_t revision) {
    return write(Change(record_of(kind, session, revision)));
  }
  Outcome hold(const std::string& session, std::uint32_t revision, bool unknown = false) {
    Record record = record_of(Kind::kHeld, session, revision);
    record.reason = "why";
    record.unknown = unknown;
    return write(Change(record));
  }
  void expect_sound() {
    const auto verification = verify(*store_);
    ASSERT_TRUE(verification.has_value());
    EXPECT_EQ(verification->faults, std::vector<std::string>());
    const auto differences = store_->check_fold(10);
    ASSERT_TRUE(differences.has_value());
    EXPECT_EQ(*differences, std::vector<std::string>());
  }
  void sql(const std::string& text) {
    sqlite3* raw = nullptr;
    sqlite3_open(folder_.file("journal").c_str(), &raw);
    char* error = nullptr;
    EXPECT_EQ(sqlite3_exec(raw, text.c_str(), nullptr, nullptr, &error), SQLITE_OK)
        << (error != nullptr ? error : "");
    sqlite3_close(raw);
  }

  TemporaryFolder folder_;
  SetClock clock_;
  std::unique_ptr<Store> store_;
};

TEST_F(StoreTest, KeepsWhatWasWritten) {
  Change change(record_of(Kind::kAccepted, "a", 1));
  change.parts.push_back(to_stored(Part("document", std::string(1000, 'x'))));
  EXPECT_EQ(write(std::move(change)).position, 1u);
  open();
  EXPECT_EQ(*store_->size(), 1u);
  EXPECT_EQ(*store_->part(1, "document"), std::string(1000, 'x'));
  EXPECT_EQ(store_->part(1, "bundle").error().code, base::ErrorCode::kNotFound);
  EXPECT_EQ(store_->head_text(2).error().code, base::ErrorCode::kNotFound);
  EXPECT_EQ(parse_head(*store_->head_text(1))->record.time, "2027-01-15T08:00:00.000Z");
  expect_sound();
}

TEST_F(StoreTest, TellsRepeatedFromConflicting) {
  EXPECT_EQ(write(Kind::kAccepted, "a", 2).verdict, Outcome::Verdict::kWritten);
  const Outcome repeated = write(Kind::kAccepted, "a", 2);
  EXPECT_EQ(repeated.verdict, Outcome::Verdict::kRepeated);
  EXPECT_EQ(repeated.position, 1u);
  EXPECT_EQ(repeated.record.kind, Kind::kRepeated);
  Change other(record_of(Kind::kAccepted, "a", 2));
  other.record.content = "other";
  other.parts.push_back(to_stored(Part("document", "other")));
  const Outcome conflicting = write(std::move(other));
  EXPECT_EQ(conflicting.verdict, Outcome::Verdict::kConflicting);
  EXPECT_EQ(conflicting.position, 1u);
  EXPECT_EQ(*store_->part(conflicting.record.position, "document"), "other");
  const Outcome older = write(Kind::kAccepted, "a", 1);
  EXPECT_EQ(older.verdict, Outcome::Verdict::kConflicting);
  EXPECT_EQ(older.position, 0u);
  EXPECT_EQ(write(Kind::kAccepted, "a", 5).verdict, Outcome::Verdict::kWritten);
  EXPECT_EQ(legs_text(*store_, {"a"}), "a/2 accepted, a/5 accepted");
  EXPECT_EQ(*store_->size(), 5u);
  expect_sound();
}

TEST_F(StoreTest, GoesTheWholeWay) {
  write(Kind::kAccepted, "a", 1);
  EXPECT_EQ(store_->untranslated(10)->size(), 1u);
  EXPECT_EQ(due_text(*store_), "");
  write(Kind::kChecked, "a", 1);
  EXPECT_EQ(store_->untranslated(10)->size(), 0u);
  EXPECT_EQ(due_text(*store_), "a/1");
  write(Kind::kDispatched, "a", 1);
  EXPECT_EQ(due_text(*store_), "");
  Record answered = record_of(Kind::kAnswered, "a", 1);
  answered.reason = "busy";
  answered.due_ms = 500;
  answered.counted = true;
  write(Change(answered));
  EXPECT_EQ(due_text(*store_, 499), "");
  EXPECT_EQ(due_text(*store_, 500), "a/1");
  EXPECT_EQ(**store_->next_due("main"), 500);
  EXPECT_FALSE(store_->next_due("other")->has_value());
  write(Kind::kDispatched, "a", 1);
  write(Kind::kLanded, "a", 1);
  const Leg leg = store_->legs("a")->front();
  EXPECT_EQ(leg.state, LegState::kLanded);
  EXPECT_EQ(leg.attempts, 2u);
  EXPECT_EQ(leg.failures, 1u);
  EXPECT_EQ(leg.bundle, 2u);
  EXPECT_TRUE(store_->open_counts()->empty());
  expect_sound();
}

TEST_F(StoreTest, SendsThePatientsSessionsInOrderAndNotBehindAHeldOne) {
  for (const char* session : {"p1", "p2", "q1"}) {
    write(Kind::kAccepted, session, 1);
  }
  write(Kind::kChecked, "p2", 1);
  write(Kind::kChecked, "q1", 1);
  EXPECT_EQ(due_text(*store_), "q1/1") << "p1 is not translated yet";
  write(Kind::kChecked, "p1", 1);
  EXPECT_EQ(due_text(*store_), "p1/1 q1/1");
  write(Kind::kDispatched, "p1", 1);
  EXPECT_EQ(due_text(*store_), "q1/1") << "p1 is on its way";
  hold("p1", 1);
  EXPECT_EQ(due_text(*store_), "p2/1 q1/1");
  expect_sound();
}

TEST_F(StoreTest, ACorrectionWaitsForAnOriginalOfUnknownFate) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kChecked, "a", 1);
  write(Kind::kDispatched, "a", 1);
  write(Kind::kAccepted, "a", 2);
  write(Kind::kChecked, "a", 2);
  hold("a", 1, true);
  EXPECT_EQ(due_text(*store_), "");
  EXPECT_EQ(legs_text(*store_, {"a"}), "a/1 held(why), a/2 checked");
  write(Kind::kReleased, "a", 1);
  EXPECT_EQ(due_text(*store_), "a/1");
  write(Kind::kDispatched, "a", 1);
  write(Kind::kLanded, "a", 1);
  EXPECT_EQ(due_text(*store_), "a/2");
  expect_sound();
}

TEST_F(StoreTest, ALaterRevisionSupersedesWhatSurelyNeverLanded) {
  write(Kind::kAccepted, "a", 1);
  hold("a", 1);
  write(Kind::kAccepted, "a", 2);
  EXPECT_EQ(legs_text(*store_, {"a"}), "a/1 superseded(why), a/2 accepted");
  // The other way round: refused by the target when the correction was made already.
  write(Kind::kAccepted, "b", 1);
  write(Kind::kChecked, "b", 1);
  write(Kind::kAccepted, "b", 2);
  write(Kind::kChecked, "b", 2);
  hold("b", 1);
  EXPECT_EQ(legs_text(*store_, {"b"}), "b/1 superseded(why), b/2 accepted");
  expect_sound();
}

TEST_F(StoreTest, AHeldOneComesDueByItselfWhenItSaysSo) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kChecked, "a", 1);
  write(Kind::kDispatched, "a", 1);
  Record held = record_of(Kind::kHeld, "a", 1);
  held.reason = "unknown-patient";
  held.due_ms = 1000;
  write(Change(held));
  EXPECT_EQ(due_text(*store_, 999), "");
  EXPECT_EQ(due_text(*store_, 1000), "a/1");
}

TEST_F(StoreTest, PeopleMoveHeldOnes) {
  for (const char* session : {"a", "b", "c"}) {
    write(Kind::kAccepted, session, 1);
    hold(session, 1);
  }
  write(Kind::kReleased, "a", 1);
  write(Kind::kRemapped, "b", 1);
  write(Kind::kWithdrawn, "c", 1);
  EXPECT_EQ(legs_text(*store_, {"a", "b", "c"}),
            "a/1 checked(why), b/1 accepted(why), c/1 withdrawn(why)");
  expect_sound();
}

TEST_F(StoreTest, WritesOnlyWhileTheLegIsAsExpected) {
  write(Kind::kAccepted, "a", 1);
  Change release(record_of(Kind::kReleased, "a", 1));
  release.only_if = LegState::kHeld;
  EXPECT_EQ(write(std::move(release)).verdict, Outcome::Verdict::kNotNow);
  Change nobody(record_of(Kind::kReleased, "nobody", 1));
  nobody.only_if = LegState::kHeld;
  EXPECT_EQ(write(std::move(nobody)).verdict, Outcome::Verdict::kNotNow);
  EXPECT_EQ(*store_->size(), 1u);
}

TEST_F(StoreTest, AStartSendsAgainWhatWasOnItsWay) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kChecked, "a", 1);
  write(Kind::kDispatched, "a", 1);
  open();
  write(Change(record_of(Kind::kStarted, "", 0, "")));
  EXPECT_EQ(due_text(*store_), "a/1");
  EXPECT_TRUE(store_->legs("a")->front().uncertain);
  expect_sound();
}

TEST_F(StoreTest, FindsRecordsByWhatTheyAreAbout) {
  write(Kind::kAccepted, "a", 1);
  clock_.set(std::chrono::seconds(1'800'000'060));
  write(Kind::kAccepted, "b", 1);
  write(Kind::kChecked, "a", 1);
  const auto count = [&](const Query& query) { return store_->search(query)->size(); };
  Query query;
  EXPECT_EQ(count(query), 3u);
  query.session = "a";
  EXPECT_EQ(count(query), 2u);
  query.kind = Kind::kChecked;
  EXPECT_EQ(count(query), 1u);
  query = Query();
  query.patient = "p-b";
  EXPECT_EQ(count(query), 1u);
  query = Query();
  query.since = "2027-01-15T08:00:30.000Z";
  EXPECT_EQ(count(query), 2u);
  query.until = query.since;
  EXPECT_EQ(count(query), 0u);
  query = Query();
  query.limit = 2;
  query.newest_first = true;
  EXPECT_EQ(store_->search(query)->front().position, 3u);
  query.after = 3;
  EXPECT_EQ(store_->search(query)->front().position, 2u);
}

TEST_F(StoreTest, RefusesASecondEngineAndLetsCommandsIn) {
  const auto second = open_sqlite_store({folder_.file("journal"), SqliteOptions::Mode::kEngine});
  ASSERT_FALSE(second.has_value());
  EXPECT_EQ(second.error().code, base::ErrorCode::kConflict);
  auto command = open_sqlite_store({folder_.file("journal"), SqliteOptions::Mode::kCommand});
  ASSERT_TRUE(command.has_value());
  write(Kind::kAccepted, "a", 1);
  ASSERT_TRUE(
      journal::write(**command, clock_, Change(record_of(Kind::kRead, "a", 0))).has_value());
  write(Kind::kChecked, "a", 1);
  EXPECT_EQ(*store_->size(), 3u);
  expect_sound();
}

TEST_F(StoreTest, RefusesFilesThatAreNoJournal) {
  std::ofstream(folder_.file("text")) << std::string(10'000, 'x');
  for (const auto mode : {SqliteOptions::Mode::kEngine, SqliteOptions::Mode::kRead}) {
    const auto opened = open_sqlite_store({folder_.file("text"), mode});
    ASSERT_FALSE(opened.has_value());
    EXPECT_EQ(opened.error().code, base::ErrorCode::kCorrupt);
  }
  EXPECT_FALSE(open_sqlite_store({folder_.file("none"), SqliteOptions::Mode::kRead}).has_value());
  store_.reset();
  sql("PRAGMA user_version=2");
  const auto later = open_sqlite_store({folder_.file("journal"), SqliteOptions::Mode::kEngine});
  ASSERT_FALSE(later.has_value());
  EXPECT_EQ(later.error().code, base::ErrorCode::kUnsupported);
}

struct Tampering {
  const char* name;
  const char* sql;
  const char* finding;  // part of one of the faults
};

class TamperTest : public StoreTest, public ::testing::WithParamInterface<Tampering> {};

TEST_P(TamperTest, IsDetectedAndNamed) {
  for (std::uint32_t i = 1; i <= 4; ++i) {
    Change change(record_of(Kind::kAccepted, std::string(1, static_cast<char>('a' + i)), 1));
    change.parts.push_back(to_stored(Part("document", "body " + std::to_string(i))));
    write(std::move(change));
  }
  write(Kind::kChecked, "b", 1);
  store_.reset();
  sql(GetParam().sql);
  open();
  const auto verification = verify(*store_);
  ASSERT_TRUE(verification.has_value());
  auto faults = verification->faults;
  const auto differences = store_->check_fold(10);
  if (differences) {
    faults.insert(faults.end(), differences->begin(), differences->end());
  }
  std::string all;
  for (const std::string& fault : faults) {
    all += fault + "\n";
  }
  EXPECT_NE(all.find(GetParam().finding), std::string::npos) << all;
}

INSTANTIATE_TEST_SUITE_P(
    All, TamperTest,
    ::testing::Values(
        Tampering{
            "head",
            "UPDATE record SET head = replace(head, 'accepted', 'checked') WHERE position = 2",
            "record 2: the head does not hash"},
        Tampering{"head_and_leaf",
                  "UPDATE record SET leaf = (SELECT leaf FROM record WHERE position = 2), head = "
                  "(SELECT head FROM record WHERE position = 2) WHERE position = 3",
                  "record 3: its head says position 2"},
        Tampering{"body", "UPDATE part SET bytes = CAST('bodY 3' AS BLOB) WHERE position = 3",
                  "record 3, part document: its bytes do not hash"},
        Tampering{"body_removed", "DELETE FROM part WHERE position = 3",
                  "record 3, part document: is missing"},
        Tampering{"body_added", "INSERT INTO part VALUES(3, 1, 'extra', 0, 'x')",
                  "record 3, part extra: no head names it"},
        Tampering{"removed", "DELETE FROM record WHERE position = 3", "gap after position 2"},
        Tampering{
            "removed_and_renumbered",
            "DELETE FROM record WHERE position = 3; UPDATE record SET position = position - 1 "
            "WHERE position > 3",
            "record 3: it does not name the record before it"},
        Tampering{
            "swapped",
            "UPDATE record SET position = 99 WHERE position = 2; UPDATE record SET position = 2 "
            "WHERE position = 3; UPDATE record SET position = 3 WHERE position = 99",
            "record 2: its head says position 3"},
        Tampering{"state", "UPDATE leg SET state = 4 WHERE session = 'c'",
                  "table leg, row c 1 main does not say what the log says"},
        Tampering{"state_removed", "DELETE FROM leg WHERE session = 'c'",
                  "table leg, row c 1 main is missing"},
        Tampering{"state_added",
                  "INSERT INTO leg SELECT 'z', revision, target, accepted, patient, state, reason, "
                  "bundle, attempts, failures, due, changed, open, uncertain FROM leg WHERE "
                  "session = 'c'",
                  "table leg, row z 1 main has no record in the log"},
        Tampering{"search_column", "UPDATE record SET session = 'zz' WHERE position = 2",
                  "record 2: its search columns do not say what its head says"}),
    [](const ::testing::TestParamInfo<Tampering>& row) { return std::string(row.param.name); });

TEST_F(StoreTest, RemarksAClockThatWasSetBack) {
  write(Kind::kAccepted, "a", 1);
  clock_.set(std::chrono::seconds(1'700'000'000));
  write(Kind::kAccepted, "b", 1);
  const auto verification = verify(*store_);
  EXPECT_TRUE(verification->sound());
  ASSERT_EQ(verification->remarks.size(), 1u);
  EXPECT_NE(verification->remarks[0].find("record 2: the clock was set back"), std::string::npos);
}

TEST_F(StoreTest, WritesAllOfABatchOrNothing) {
  std::vector<Change> batch;
  batch.emplace_back(record_of(Kind::kAccepted, "a", 1));
  Record bad = record_of(Kind::kReleased, "a", 1);
  bad.why = "two\nlines";
  batch.emplace_back(bad);
  EXPECT_FALSE(store_->commit(batch, clock_).has_value());
  EXPECT_EQ(*store_->size(), 0u);
  EXPECT_EQ(legs_text(*store_, {"a"}), "");
  write(Kind::kAccepted, "a", 1);
  expect_sound();
}

// Lowers the size that files of this process may have, as a full disk does for all.
class FullDisk {
 public:
  explicit FullDisk(rlim_t bytes) {
    ::signal(SIGXFSZ, SIG_IGN);
    ::getrlimit(RLIMIT_FSIZE, &before_);
    const rlimit low{bytes, before_.rlim_max};
    ::setrlimit(RLIMIT_FSIZE, &low);
  }
  ~FullDisk() { ::setrlimit(RLIMIT_FSIZE, &before_); }
  FullDisk(const FullDisk&) = delete;
  FullDisk& operator=(const FullDisk&) = delete;

 private:
  rlimit before_{};
};

TEST_F(StoreTest, SaysThatTheDiskIsFullAndGoesOnWhenItIsNot) {
  write(Kind::kAccepted, "a", 1);
  const auto big = [] {
    Change change(record_of(Kind::kAccepted, "b", 1));
    StoredPart part;
    part.name = "document";
    part.bytes = std::string(1'000'000, 'x');
    part.hash = base::sha256(part.bytes);
    change.parts.push_back(part);
    return change;
  };
  {
    const FullDisk full(256 * 1024);
    const auto outcome = journal::write(*store_, clock_, big());
    ASSERT_FALSE(outcome.has_value());
    EXPECT_EQ(outcome.error().code, base::ErrorCode::kIo);
    EXPECT_EQ(*store_->size(), 1u);
    EXPECT_EQ(legs_text(*store_, {"a", "b"}), "a/1 accepted");
  }
  write(big());
  EXPECT_EQ(legs_text(*store_, {"a", "b"}), "a/1 accepted, b/1 accepted");
  expect_sound();
}

TEST_F(StoreTest, GroupsWhatManyThreadsSubmit) {
  std::vector<std::thread> threads;
  std::atomic<int> durable{0};
  {
    Journal journal(*store_, clock_);
    std::atomic<std::size_t> heard{0};
    journal.add_listener([&](const std::vector<Outcome>& outcomes) { heard += outcomes.size(); });
    for (int t = 0; t < 4; ++t) {
      threads.emplace_back([&, t] {
        for (int i = 0; i < 50; ++i) {
          const std::string session = std::to_string(t) + "-" + std::to_string(i);
          EXPECT_TRUE(journal.submit(
              Change(record_of(Kind::kAccepted, session, 1)),
              [&](base::Result<Outcome> outcome) { durable += outcome.has_value() ? 1 : 0; }));
        }
      });
    }
    for (std::thread& thread : threads) {
      thread.join();
    }
    journal.stop();
    EXPECT_EQ(heard, 200u);
    EXPECT_FALSE(journal.submit(Change(record_of(Kind::kAccepted, "late", 1)), {}));
  }
  EXPECT_EQ(durable, 200);
  EXPECT_EQ(*store_->size(), 200u);
  expect_sound();
}

}  // namespace
}  // namespace engine::journal
