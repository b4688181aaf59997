// What is damaged, lost or taken for something else: named, gone past where the rest is good, and
// refused where going on would cost more.

#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <fcntl.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <unistd.h>

#include "engine/journal/search_key.h"
#include "engine/journal/start_marks.h"
#include "engine/journal/verify.h"
#include "tests/journal/fixture.h"

namespace engine::journal {
namespace {

constexpr const char* kRandom = "0123456789abcdef0123456789abcdef";

class Damage : public ::testing::Test {
 protected:
  void SetUp() override { open(); }
  void open() {
    store_.reset();
    auto opened = open_sqlite_store({path(), OpenMode::kEngine});
    ASSERT_TRUE(opened.has_value()) << opened.error().text();
    store_ = std::move(*opened);
  }
  std::string path() const { return folder_.file("journal"); }
  Outcome write(Change change) {
    auto outcome = journal::write(*store_, clock_, std::move(change));
    EXPECT_TRUE(outcome.has_value()) << (outcome ? "" : outcome.error().text());
    return outcome ? *outcome : Outcome();
  }
  Outcome write(Kind kind, const std::string& session, std::uint32_t revision) {
    return write(Change(record_of(kind, session, revision)));
  }
  Outcome accept(const std::string& session, std::uint32_t revision, const char* reason) {
    Record record = record_of(Kind::kAccepted, session, revision);
    record.reason = reason;
    return write(Change(record));
  }
  Position of_patient(Kind kind, const std::string& patient, Position through = 0) {
    Record record;
    record.kind = kind;
    record.patient = patient;
    record.through = through;
    const Outcome outcome = write(Change(record));
    return outcome.verdict == Outcome::Verdict::kWritten ? outcome.record.position : 0;
  }
  // One letter of the first line of a record's head.
  void damage(Position position) {
    sql("UPDATE record SET head = 'd' || substr(head, 2) WHERE position = " +
        std::to_string(position));
  }
  void sql(const std::string& text) {
    store_.reset();
    sqlite3* raw = nullptr;
    sqlite3_open(path().c_str(), &raw);
    char* error = nullptr;
    EXPECT_EQ(sqlite3_exec(raw, text.c_str(), nullptr, nullptr, &error), SQLITE_OK)
        << (error != nullptr ? error : "");
    sqlite3_close(raw);
    open();
  }
  std::string found(const Query& query) {
    std::string out;
    const auto records = store_->search(query);
    EXPECT_TRUE(records.has_value()) << (records ? "" : records.error().text());
    for (const Record& record : records ? *records : std::vector<Record>()) {
      out += std::to_string(record.position) + " " + std::string(name_of(record.kind)) + "\n";
    }
    return out;
  }
  std::string faults() {
    const auto report = verify(*store_);
    std::string out;
    for (const std::string& fault : report->faults) {
      out += fault + "\n";
    }
    return out;
  }

  TemporaryFolder folder_;
  SetClock clock_;
  std::unique_ptr<Store> store_;
};

TEST_F(Damage, OfOneHeadLeavesTheRestReadable) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kAccepted, "b", 1);
  write(Kind::kAccepted, "c", 1);
  damage(2);
  EXPECT_EQ(found({}), "1 accepted\n2 unreadable\n3 accepted\n");
  Query query;
  query.session = "b";
  query.target = "another";
  EXPECT_EQ(found(query), "2 unreadable\n");
  query.session = "c";
  EXPECT_EQ(found(query), "");
  EXPECT_EQ(store_->head(2).error().text(), "a record's head is not readable (record 2, line 1)");
  EXPECT_EQ((*store_->newest(Kind::kAccepted))->position, 3u);
  damage(3);
  EXPECT_EQ((*store_->newest(Kind::kAccepted))->position, 1u);
  EXPECT_NE(faults().find("record 2: a record's head is not readable"), std::string::npos);
}

TEST_F(Damage, AHeadThatIsAnothersIsNotTakenForIt) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kAccepted, "b", 1);
  sql("UPDATE record SET head = (SELECT head FROM record WHERE position = 1) WHERE position = 2");
  EXPECT_EQ(found({}), "1 accepted\n2 unreadable\n");
}

TEST_F(Damage, OfAnAcceptanceLetsTheCorrectionIn) {
  accept("a", 1, "");
  damage(1);
  EXPECT_EQ(accept("a", 1, "").verdict, Outcome::Verdict::kRepeated);
  EXPECT_EQ(accept("a", 2, "").verdict, Outcome::Verdict::kWritten);
}

TEST_F(Damage, OfTheAcceptanceThatMovedASessionAwayKeepsItMoved) {
  accept("a", 1, "");
  accept("a", 2, kMovedAway);
  accept("b", 1, kMovedHere);
  damage(2);
  EXPECT_EQ(accept("a", 3, "").verdict, Outcome::Verdict::kConflicting);
}

TEST_F(Damage, OfALegalHoldLeavesItStanding) {
  const Position hold = of_patient(Kind::kHold, "p-a");
  damage(hold);
  const auto standing = store_->legal_holds();
  ASSERT_TRUE(standing.has_value()) << standing.error().text();
  ASSERT_EQ(standing->size(), 1u);
  EXPECT_EQ(standing->front().position, hold);
  EXPECT_EQ(standing->front().patient, "p-a");
  Record shredded;
  shredded.kind = Kind::kShredded;
  shredded.patient = "p-a";
  EXPECT_EQ(write(Change(shredded)).record.reason, "legal-hold");
  of_patient(Kind::kHoldEnded, "p-a", hold);
  EXPECT_TRUE(store_->legal_holds()->empty());
}

TEST_F(Damage, OfTheTablesOfWhatWasDestroyedIsNamed) {
  Change change(record_of(Kind::kAccepted, "a", 1));
  change.parts.push_back(to_stored(Part("document", "body")));
  write(std::move(change));
  write(Kind::kWithdrawn, "a", 1);
  const Position shredded = of_patient(Kind::kShredded, "p-a");
  ASSERT_EQ(shredded, 3u);
  EXPECT_EQ(faults(), "");
  sql("UPDATE destroyed_part SET record = 2");
  EXPECT_EQ(faults(),
            "parts of the records 1 to 1: record 3 destroyed it, the tables say record 2\n");
  sql("DELETE FROM destroyed_part");
  EXPECT_EQ(faults(),
            "parts of the records 1 to 1: record 3 destroyed it, and the tables do not say so\n");
  sql("INSERT INTO destroyed_part VALUES(1, 1, 3); "
      "INSERT INTO destroyed_key VALUES(x'000102030405060708090a0b0c0d0e0f', 1)");
  EXPECT_EQ(faults(),
            "key 000102030405060708090a0b0c0d0e0f: the tables say that record 1 destroyed it, the "
            "record does not\n");
}

// As its owner keeps it.
void write_key(const std::string& file, char digit) {
  std::ofstream(file) << std::string(64, digit) << "\n";
  std::filesystem::permissions(
      file, std::filesystem::perms::owner_read | std::filesystem::perms::owner_write);
}

TEST_F(Damage, ALostOrAnotherSearchKeyIsRefused) {
  const std::string file = folder_.file("journal.key");
  const auto key = open_search_key(*store_, file, kRandom);
  ASSERT_TRUE(key.has_value()) << key.error().text();
  write(Kind::kAccepted, "a", 1);
  EXPECT_TRUE(open_search_key(*store_, file, kRandom).has_value());
  EXPECT_TRUE(load_search_key(*store_, file).has_value());
  std::filesystem::rename(file, file + ".kept");
  open();
  const auto lost = open_search_key(*store_, file, kRandom);
  ASSERT_FALSE(lost.has_value());
  EXPECT_EQ(lost.error().code, base::ErrorCode::kNotFound);
  EXPECT_NE(lost.error().text().find("bring the file back"), std::string::npos);
  EXPECT_FALSE(std::filesystem::exists(file));
  write_key(file, 'a');
  EXPECT_EQ(open_search_key(*store_, file, kRandom).error().code, base::ErrorCode::kConflict);
  EXPECT_EQ(load_search_key(*store_, file).error().code, base::ErrorCode::kConflict);
  std::filesystem::rename(file + ".kept", file);
  EXPECT_TRUE(open_search_key(*store_, file, kRandom).has_value());
}

TEST_F(Damage, WhereTheMarkOfTheSearchKeyWasTakenAwayNoKeyIsAccepted) {
  const std::string file = folder_.file("journal.key");
  ASSERT_TRUE(open_search_key(*store_, file, kRandom).has_value());
  write(Kind::kAccepted, "a", 1);
  sql("DELETE FROM agreed");
  EXPECT_EQ(open_search_key(*store_, file, kRandom).error().code, base::ErrorCode::kCorrupt);
  EXPECT_EQ(load_search_key(*store_, file).error().code, base::ErrorCode::kCorrupt);
}

// The starts say which key it is; the table does not decide.
TEST_F(Damage, WhereTheTableOfTheMarkIsGoneTheKeyOfTheStartsIsAccepted) {
  const std::string file = folder_.file("journal.key");
  const auto key = open_search_key(*store_, file, kRandom);
  ASSERT_TRUE(key.has_value());
  Record started;
  started.content = print(StartMarks{key->hide(kSearchKeyMark), ""});
  write(Change(started));
  EXPECT_EQ(faults(), "");
  sql("DROP TABLE agreed");
  EXPECT_NE(faults().find("the table agreed does not say which key"), std::string::npos)
      << faults();
  std::filesystem::rename(file, file + ".kept");
  write_key(file, 'a');
  EXPECT_EQ(load_search_key(*store_, file).error().code, base::ErrorCode::kConflict);
  EXPECT_EQ(open_search_key(*store_, file, kRandom).error().code, base::ErrorCode::kConflict);
  std::filesystem::rename(file + ".kept", file);
  EXPECT_TRUE(load_search_key(*store_, file).has_value());
  EXPECT_TRUE(open_search_key(*store_, file, kRandom).has_value());
  EXPECT_EQ(faults(), "");
  // Another one, and its key.
  write_key(file, 'a');
  const auto other = SearchKey::load(file, "");
  sql("UPDATE agreed SET value = CAST('" + other->hide(kSearchKeyMark) + "' AS BLOB)");
  EXPECT_NE(faults().find("names another key"), std::string::npos) << faults();
  EXPECT_EQ(open_search_key(*store_, file, kRandom).error().code, base::ErrorCode::kConflict);
}

TEST_F(Damage, AJournalFromWhenNoMarkWasKeptTakesItsKeyButNoFreshOne) {
  const std::string file = folder_.file("journal.key");
  write(Kind::kAccepted, "a", 1);
  EXPECT_EQ(open_search_key(*store_, file, kRandom).error().code, base::ErrorCode::kNotFound);
  write_key(file, 'a');
  EXPECT_TRUE(load_search_key(*store_, file).has_value());
  EXPECT_TRUE(open_search_key(*store_, file, kRandom).has_value());
  open();
  write_key(file, 'b');
  EXPECT_EQ(open_search_key(*store_, file, kRandom).error().code, base::ErrorCode::kConflict);
}

TEST_F(Damage, ASecondNameOfTheFileIsNoWayRoundTheLock) {
  write(Kind::kAccepted, "a", 1);
  const std::string link = folder_.file("link");
  std::filesystem::create_symlink(path(), link);
  EXPECT_EQ(open_sqlite_store({link, OpenMode::kEngine}).error().code, base::ErrorCode::kConflict);
  std::filesystem::create_directory(folder_.file("elsewhere"));
  const std::string hard = folder_.file("elsewhere/journal");
  std::filesystem::create_hard_link(path(), hard);
  for (const OpenMode mode : {OpenMode::kEngine, OpenMode::kCommand}) {
    const auto second = open_sqlite_store({hard, mode});
    ASSERT_FALSE(second.has_value());
    EXPECT_EQ(second.error().code, base::ErrorCode::kConflict) << second.error().text();
  }
  std::filesystem::remove(hard);
  store_.reset();
  EXPECT_TRUE(open_sqlite_store({link, OpenMode::kEngine}).has_value());
}

TEST_F(Damage, TheFilesOfAJournalAreItsOwnersOnly) {
  const mode_t before = ::umask(022);
  auto made = open_sqlite_store({folder_.file("made"), OpenMode::kEngine});
  ASSERT_TRUE(made.has_value());
  ASSERT_TRUE(journal::write(**made, clock_, Change(record_of(Kind::kAccepted, "a", 1))));
  ::umask(before);
  for (const char* name : {"made", "made-wal", "made-shm", "made.lock"}) {
    struct stat file {};
    ASSERT_EQ(::stat(folder_.file(name).c_str(), &file), 0) << name;
    EXPECT_EQ(file.st_mode & 0777U, 0600U) << name;
  }
}

TEST_F(Damage, AFileThatIsCutShortIsSaidToBe) {
  for (std::uint32_t i = 1; i <= 300; ++i) {
    Change change(record_of(Kind::kAccepted, "session-" + std::to_string(i), 1));
    change.parts.push_back(to_stored(Part("document", std::to_string(i * i * 7919))));
    write(std::move(change));
  }
  store_.reset();
  const auto whole = std::filesystem::file_size(path());
  for (const auto left : {whole / 2, whole - 8192}) {
    std::filesystem::copy_file(path(), folder_.file("cut"),
                               std::filesystem::copy_options::overwrite_existing);
    std::filesystem::resize_file(folder_.file("cut"), left);
    for (const OpenMode mode : {OpenMode::kRead, OpenMode::kEngine}) {
      auto opened = open_sqlite_store({folder_.file("cut"), mode});
      base::Result<void> done = opened ? base::Result<void>() : opened.error();
      if (opened && mode == OpenMode::kEngine) {
        const auto written =
            journal::write(**opened, clock_, Change(record_of(Kind::kAccepted, "x", 1)));
        done = written ? base::Result<void>() : written.error();
      }
      ASSERT_FALSE(done.has_value()) << left;
      EXPECT_EQ(done.error().code, base::ErrorCode::kCorrupt);
      EXPECT_NE(done.error().text().find("the file is cut short"), std::string::npos)
          << done.error().text();
    }
  }
}

TEST_F(Damage, TablesThatContradictEachOtherAreSaidToBeDamaged) {
  write(Kind::kAccepted, "a", 1);
  sql("INSERT INTO part VALUES(2, 0, 'document', 0, x'00')");
  Change change(record_of(Kind::kAccepted, "b", 1));
  change.parts.push_back(to_stored(Part("document", "body")));
  const auto written = journal::write(*store_, clock_, std::move(change));
  ASSERT_FALSE(written.has_value());
  EXPECT_EQ(written.error().code, base::ErrorCode::kCorrupt);
  EXPECT_NE(written.error().text().find("its tables contradict each other"), std::string::npos);
}

// What a bad disk makes of a stored part can still look like one.
TEST_F(Damage, APartThatIsNotWhatItsHeadSaysIsNotGivenOut) {
  Change change(record_of(Kind::kAccepted, "a", 1));
  change.parts.push_back(to_stored(Part("document", "flow 2")));
  const Position position = write(std::move(change)).position;
  ASSERT_EQ(*store_->part(position, "document"), "flow 2");
  for (const char* damage : {"bytes = CAST('flow 3' AS BLOB)", "bytes = CAST('flow' AS BLOB)",
                             "codec = 1", "name = 'bundle'"}) {
    sql("CREATE TABLE kept AS SELECT * FROM part");
    sql(std::string("UPDATE part SET ") + damage);
    for (const char* name : {"document", "bundle"}) {
      const auto read = store_->part(position, name);
      EXPECT_FALSE(read.has_value()) << damage << ", " << name << ": " << *read;
    }
    EXPECT_EQ(store_->part(position, "document").error().code, base::ErrorCode::kCorrupt) << damage;
    sql("DELETE FROM part; INSERT INTO part SELECT * FROM kept; DROP TABLE kept");
    EXPECT_EQ(*store_->part(position, "document"), "flow 2");
  }
}

// As somebody else: the owner of all files may write anything.
class AsNobody {
 public:
  AsNobody() { good_ = ::geteuid() != 0 || ::seteuid(65534) == 0; }
  ~AsNobody() {
    if (::getuid() == 0) {
      EXPECT_EQ(::seteuid(0), 0);
    }
  }
  bool good() const { return good_; }

 private:
  bool good_ = false;
};

TEST_F(Damage, AJournalThatCannotBeWrittenIsReadAllTheSame) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kAccepted, "b", 1);
  store_.reset();
  ASSERT_FALSE(std::filesystem::exists(path() + "-wal"));
  const std::string place = std::filesystem::path(path()).parent_path();
  ASSERT_EQ(::chmod(path().c_str(), 0444), 0);
  ASSERT_EQ(::chmod(place.c_str(), 0555), 0);
  {
    const AsNobody nobody;
    ASSERT_TRUE(nobody.good());
    auto opened = open_sqlite_store({path(), OpenMode::kRead});
    EXPECT_TRUE(opened.has_value()) << opened.error().text();
    if (opened) {
      EXPECT_EQ(verify(**opened)->records, 2u);
      EXPECT_TRUE(verify(**opened)->sound());
    }
    const auto command = open_sqlite_store({path(), OpenMode::kCommand});
    EXPECT_FALSE(command.has_value());
    if (!command) {
      EXPECT_NE(command.error().text().find("cannot be written here"), std::string::npos)
          << command.error().text();
    }
  }
  ASSERT_EQ(::chmod(place.c_str(), 0755), 0);
  ASSERT_EQ(::chmod(path().c_str(), 0600), 0);
}

}  // namespace
}  // namespace engine::journal
