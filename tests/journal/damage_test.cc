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
  std::ofstream(file) << std::string(64, 'a') << "\n";
  EXPECT_EQ(open_search_key(*store_, file, kRandom).error().code, base::ErrorCode::kConflict);
  EXPECT_EQ(load_search_key(*store_, file).error().code, base::ErrorCode::kConflict);
  std::filesystem::rename(file + ".kept", file);
  EXPECT_TRUE(open_search_key(*store_, file, kRandom).has_value());
}

TEST_F(Damage, AJournalFromWhenNoMarkWasKeptTakesItsKeyButNoFreshOne) {
  const std::string file = folder_.file("journal.key");
  write(Kind::kAccepted, "a", 1);
  EXPECT_EQ(open_search_key(*store_, file, kRandom).error().code, base::ErrorCode::kNotFound);
  std::ofstream(file) << std::string(64, 'a') << "\n";
  EXPECT_TRUE(load_search_key(*store_, file).has_value());
  EXPECT_TRUE(open_search_key(*store_, file, kRandom).has_value());
  open();
  std::ofstream(file) << std::string(64, 'b') << "\n";
  EXPECT_EQ(open_search_key(*store_, file, kRandom).error().code, base::ErrorCode::kConflict);
}

}  // namespace
}  // namespace engine::journal
