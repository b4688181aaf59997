#include <csignal>
#include <fstream>
#include <string>
#include <vector>

#include <sqlite3.h>
#include <sys/resource.h>

#include "engine/journal/verify.h"
#include "tests/journal/fixture.h"

namespace engine::journal {
namespace {

class StoreTest : public ::testing::Test {
 protected:
  void SetUp() override { open(); }
  void open(OpenMode mode = OpenMode::kEngine) {
    store_.reset();
    auto opened = open_sqlite_store({folder_.file("journal"), mode});
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

TEST_F(StoreTest, RefusesASecondEngineAndLetsCommandsIn) {
  const auto second = open_sqlite_store({folder_.file("journal"), OpenMode::kEngine});
  ASSERT_FALSE(second.has_value());
  EXPECT_EQ(second.error().code, base::ErrorCode::kConflict);
  auto command = open_sqlite_store({folder_.file("journal"), OpenMode::kCommand});
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
  for (const auto mode : {OpenMode::kEngine, OpenMode::kRead}) {
    const auto opened = open_sqlite_store({folder_.file("text"), mode});
    ASSERT_FALSE(opened.has_value());
    EXPECT_EQ(opened.error().code, base::ErrorCode::kCorrupt);
  }
  EXPECT_FALSE(open_sqlite_store({folder_.file("none"), OpenMode::kRead}).has_value());
  store_.reset();
  sql("PRAGMA user_version=3");
  const auto later = open_sqlite_store({folder_.file("journal"), OpenMode::kEngine});
  ASSERT_FALSE(later.has_value());
  EXPECT_EQ(later.error().code, base::ErrorCode::kUnsupported);
}

// Whether somebody else could write at the moment somebody asks what time it is.
class AskedClock final : public base::Clock {
 public:
  explicit AskedClock(const std::string& path) { sqlite3_open(path.c_str(), &raw_); }
  ~AskedClock() override { sqlite3_close(raw_); }
  AskedClock(const AskedClock&) = delete;
  AskedClock& operator=(const AskedClock&) = delete;
  std::chrono::system_clock::time_point now() const override {
    free_ = free_ ||
            sqlite3_exec(raw_, "BEGIN IMMEDIATE; ROLLBACK", nullptr, nullptr, nullptr) == SQLITE_OK;
    return {};
  }
  std::chrono::steady_clock::time_point steady() const override { return {}; }
  bool was_free() const { return free_; }

 private:
  sqlite3* raw_ = nullptr;
  mutable bool free_ = false;
};

// Whoever waits for another writer would have an earlier time than the record before.
TEST_F(StoreTest, ARecordHasTheTimeAtWhichNobodyElseCouldWrite) {
  const AskedClock clock(folder_.file("journal"));
  ASSERT_TRUE(journal::write(*store_, clock, Change(record_of(Kind::kAccepted, "a", 1))));
  EXPECT_FALSE(clock.was_free());
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
  open(OpenMode::kRead);
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
        Tampering{"body_added_beyond", "INSERT INTO part VALUES(99, 0, 'extra', 0, 'x')",
                  "record 99, part extra: no head names it"},
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
        Tampering{
            "record_before_the_first",
            "INSERT INTO record SELECT 0, head, leaf, kind, time, session, patient, therapist "
            "FROM record WHERE position = 1",
            "record 0: records are numbered from 1"},
        Tampering{"record_of_no_number",
                  "INSERT INTO record SELECT -5, head, leaf, kind, time, session, patient, "
                  "therapist FROM record WHERE position = 1",
                  "record -5: records are numbered from 1"},
        Tampering{"body_of_no_number", "INSERT INTO part VALUES(-3, 0, 'document', 0, 'x')",
                  "record -3, part document: records are numbered from 1"},
        Tampering{"trigger",
                  "CREATE TRIGGER lost AFTER INSERT ON record BEGIN UPDATE record SET patient = "
                  "NULL WHERE position = new.position; END",
                  "it holds the trigger lost, which no journal has"},
        Tampering{"view", "CREATE VIEW seen AS SELECT * FROM record",
                  "it holds the view seen, which no journal has"},
        Tampering{"index_dropped", "DROP INDEX record_patient",
                  "the index record_patient is missing"},
        Tampering{"index_of_other_rows",
                  "DROP INDEX leg_due; CREATE INDEX leg_due ON leg(target, accepted) WHERE state = "
                  "99",
                  "the index leg_due is not made as in any journal"},
        Tampering{"column_added", "ALTER TABLE record ADD COLUMN more TEXT DEFAULT 'x'",
                  "the table record is not made as in any journal"},
        Tampering{"table_dropped", "DROP TABLE revision; CREATE TABLE other(x)",
                  "the table revision is missing"},
        Tampering{"leaf_longer",
                  "UPDATE record SET leaf = CAST(leaf || x'00ff' AS BLOB) WHERE position = 1",
                  "record 1: its leaf is no hash"},
        Tampering{"body_before_the_others", "INSERT INTO part VALUES(1, -1, 'hidden', 0, 'x')",
                  "record 1, part hidden: no head names it"},
        Tampering{"body_out_of_place", "UPDATE part SET number = -1 WHERE position = 1",
                  "record 1, part document: is not in its place"},
        Tampering{"agreement_taken_away",
                  "CREATE TABLE agreed(name TEXT PRIMARY KEY, value BLOB NOT NULL) WITHOUT ROWID",
                  "the table agreed does not say any more"},
        Tampering{"search_column", "UPDATE record SET session = 'zz' WHERE position = 2",
                  "record 2: its search columns do not say what its head says"}),
    [](const ::testing::TestParamInfo<Tampering>& row) { return std::string(row.param.name); });

// Line breaks that an engine of before made elsewhere, an index of the site, what SQLite counts.
TEST_F(StoreTest, AFileThatSaysNothingFalseIsSound) {
  write(Kind::kAccepted, "a", 1);
  store_.reset();
  sql("DROP INDEX leg_due; CREATE INDEX leg_due ON leg( target,\n\taccepted )\nWHERE due IS NOT "
      "NULL; CREATE INDEX site ON record(kind); ANALYZE");
  open();
  expect_sound();
}

// It would hide what the tables of the later form say was destroyed. An engine that starts on it
// brings it up to date.
TEST_F(StoreTest, AFileThatSaysThatItIsOfAnEarlierFormThanItIsIsNamed) {
  write(Kind::kAccepted, "a", 1);
  store_.reset();
  sql("PRAGMA user_version=1");
  auto read = open_sqlite_store({folder_.file("journal"), OpenMode::kRead});
  ASSERT_TRUE(read.has_value()) << read.error().text();
  EXPECT_EQ(*(*read)->check_fold(5),
            std::vector<std::string>{"database file: it says that it is of form 1 and holds tables "
                                     "of a later one"});
  read->reset();
  open();
  expect_sound();
}

TEST_F(StoreTest, AFileOfTheFirstFormIsSoundBeforeAndAfterItIsBroughtUpToDate) {
  write(Kind::kAccepted, "a", 1);
  store_.reset();
  sql("DROP INDEX record_kept; DROP TABLE body_key; DROP TABLE body_master; DROP TABLE "
      "destroyed_key; DROP TABLE destroyed_part; PRAGMA user_version=1");
  auto read = open_sqlite_store({folder_.file("journal"), OpenMode::kRead});
  ASSERT_TRUE(read.has_value()) << read.error().text();
  store_ = std::move(*read);
  expect_sound();
  open();
  expect_sound();
}

// What it does not let in would be missing without a word.
TEST_F(StoreTest, AnIndexThatLetsOneRowInIsNoJournals) {
  write(Kind::kAccepted, "a", 1);
  for (const char* name : {"leg_also", "leg_types"}) {
    store_.reset();
    sql("DROP INDEX IF EXISTS leg_types; CREATE UNIQUE INDEX " + std::string(name) +
        " ON leg(target) WHERE accepted > 1");
    const auto engine = open_sqlite_store({folder_.file("journal"), OpenMode::kEngine});
    ASSERT_FALSE(engine.has_value());
    EXPECT_EQ(engine.error().code, base::ErrorCode::kCorrupt);
    EXPECT_NE(engine.error().text().find(name), std::string::npos) << engine.error().text();
    // Also made while an engine works: then its writing fails, which it tells.
    open(OpenMode::kCommand);
    write(Kind::kAccepted, "b", 1);
    const auto lost = journal::write(*store_, clock_, Change(record_of(Kind::kAccepted, "c", 1)));
    ASSERT_FALSE(lost.has_value());
    EXPECT_EQ(lost.error().code, base::ErrorCode::kCorrupt);
    const auto differences = store_->check_fold(5);
    ASSERT_EQ(differences->size(), 1u);
    EXPECT_EQ(differences->front(), "database file: the index " + std::string(name) +
                                        " of the table leg lets no second row of a kind in, "
                                        "which no journal's does");
    store_.reset();
    sql("DROP INDEX " + std::string(name) +
        "; DELETE FROM record WHERE position > 1; DELETE FROM "
        "leg WHERE accepted > 1; DELETE FROM revision WHERE accepted > 1");
  }
  open();
  expect_sound();
}

TEST_F(StoreTest, RunsNoTriggerThatSomebodyPutIntoItsFile) {
  store_.reset();
  sql("CREATE TRIGGER lost AFTER INSERT ON record BEGIN UPDATE record SET session = NULL WHERE "
      "position = new.position; END");
  open();
  write(Kind::kAccepted, "a", 1);
  Query query;
  query.session = "a";
  EXPECT_EQ(store_->search(query)->size(), 1u);
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

}  // namespace
}  // namespace engine::journal
