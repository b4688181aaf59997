// What lies in the file of a sealed journal, and what is named when somebody alters it.

#include <chrono>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include <sqlite3.h>

#include "engine/base/limits.h"
#include "engine/journal/destruction.h"
#include "engine/journal/seal.h"
#include "engine/journal/verify.h"
#include "tests/journal/fixture.h"
#include "tests/journal/sealed_store.h"

namespace engine::journal {
namespace {

constexpr const char* kMarker = "a marker that stands in no other place";

class SealedFile : public ::testing::Test {
 protected:
  void open(const char* masters = "m") {
    store_.reset();
    auto opened = open_sqlite_store({folder_.file("journal"), OpenMode::kEngine,
                                     *masters == 0 ? nullptr : sealing_of(masters)});
    ASSERT_TRUE(opened.has_value()) << opened.error().text();
    store_ = std::move(*opened);
  }
  Outcome write(Change change) {
    auto outcome = journal::write(*store_, clock_, std::move(change));
    EXPECT_TRUE(outcome.has_value()) << (outcome ? "" : outcome.error().text());
    return outcome ? *outcome : Outcome();
  }
  void take_in(const std::string& session) {
    Change change(record_of(Kind::kAccepted, session, 1));
    change.parts.push_back(to_stored(Part("document", kMarker)));
    write(std::move(change));
    write(Change(record_of(Kind::kWithdrawn, session, 1)));
  }
  void shred(const std::string& patient) {
    Record record;
    record.kind = Kind::kShredded;
    record.patient = patient;
    ASSERT_EQ(write(Change(record)).verdict, Outcome::Verdict::kWritten);
  }
  // The file and what SQLite keeps beside it.
  bool on_disk(const std::string& bytes) {
    bool found = false;
    for (const char* name : {"journal", "journal-wal", "journal-shm"}) {
      std::ifstream file(folder_.file(name), std::ios::binary);
      const std::string all((std::istreambuf_iterator<char>(file)), {});
      found = found || all.find(bytes) != std::string::npos;
    }
    return found;
  }
  void sql(const std::string& text) {
    sqlite3* raw = nullptr;
    sqlite3_open(folder_.file("journal").c_str(), &raw);
    char* error = nullptr;
    EXPECT_EQ(sqlite3_exec(raw, text.c_str(), nullptr, nullptr, &error), SQLITE_OK)
        << (error != nullptr ? error : "");
    sqlite3_close(raw);
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

TEST_F(SealedFile, HoldsNoBodyAndAfterItsDestructionNoKey) {
  open("");
  take_in("plain");
  EXPECT_TRUE(on_disk(kMarker)) << "or the next look proves nothing";
  open();
  shred("p-p");
  EXPECT_FALSE(on_disk(kMarker)) << "removed, and overwritten";
  take_in("a");
  take_in("b");
  EXPECT_FALSE(on_disk(kMarker));
  const auto keys = store_->body_keys();
  ASSERT_EQ(keys->size(), 2u);
  const std::size_t of_a = keys->at(0).subject == "p-a" ? 0 : 1;
  EXPECT_TRUE(on_disk(keys->at(of_a).wrapped));
  shred("p-a");
  EXPECT_FALSE(on_disk(keys->at(of_a).wrapped));
  EXPECT_TRUE(on_disk(keys->at(1 - of_a).wrapped));
  EXPECT_EQ(faults(), "");
}

TEST_F(SealedFile, ForgetsKeysAsTheyWereWrappedBefore) {
  open("mn");
  take_in("a");
  const std::string before = store_->body_keys()->front().wrapped;
  ASSERT_TRUE(on_disk(before));
  ASSERT_EQ(*store_->rewrap(master_id(std::string(32, 'n')), 10), 1u);
  EXPECT_FALSE(on_disk(before));
}

// A long look of somebody else must not hold up an engine and its senders.
TEST_F(SealedFile, DoesNotMakeAnEngineWaitForWhoReads) {
  open();
  take_in("a");
  sqlite3* reader = nullptr;
  ASSERT_EQ(sqlite3_open(folder_.file("journal").c_str(), &reader), SQLITE_OK);
  ASSERT_EQ(sqlite3_exec(reader, "BEGIN; SELECT count(*) FROM part", nullptr, nullptr, nullptr),
            SQLITE_OK);
  const auto begun = std::chrono::steady_clock::now();
  shred("p-a");
  take_in("b");
  EXPECT_LT(std::chrono::steady_clock::now() - begun, base::limits::kJournalBusyWait / 2);
  sqlite3_close(reader);
  EXPECT_EQ(faults(), "");
}

struct Tampering {
  const char* name;
  const char* sql;
  const char* finding;
};
class SealedTamper : public SealedFile, public ::testing::WithParamInterface<Tampering> {};

TEST_P(SealedTamper, IsNamed) {
  open();
  for (const char* session : {"a", "b", "c"}) {  // records 1, 3, 5
    take_in(session);
  }
  sql("CREATE TABLE kept_key AS SELECT * FROM body_key; CREATE TABLE kept_part AS SELECT * FROM "
      "part");
  shred("p-c");  // record 7
  Change expired;
  expired.record.kind = Kind::kExpired;  // record 8: bodies 1, 3 and 5
  expired.destroy_before = "2030-01-01T00:00:00.000Z";
  expired.destroy_max = 1;  // of these the first
  clock_.set(std::chrono::seconds(1'900'000'000));
  write(std::move(expired));
  EXPECT_EQ(faults(), "");
  store_.reset();
  sql(GetParam().sql);
  open();
  EXPECT_NE(faults().find(GetParam().finding), std::string::npos) << faults();
}

INSTANTIATE_TEST_SUITE_P(
    All, SealedTamper,
    ::testing::Values(
        Tampering{"byte",
                  "UPDATE part SET bytes = CAST(substr(bytes, 1, 30) || x'00' || substr(bytes, 32) "
                  "AS BLOB) WHERE position = 3",
                  "record 3, part document: its bytes do not hash"},
        Tampering{"swapped",
                  "UPDATE part SET bytes = (SELECT bytes FROM part WHERE position = 5) WHERE "
                  "position = 3",
                  "record 3, part document: its bytes do not hash"},
        Tampering{"key_gone", "DELETE FROM body_key WHERE subject = 'p-b'",
                  "record 3, part document: the key of a sealed part is missing, and no record "
                  "says that it was destroyed"},
        Tampering{"key_gone_and_excused",
                  "INSERT INTO destroyed_key SELECT id, 7 FROM body_key WHERE subject = 'p-b'; "
                  "DELETE FROM body_key WHERE subject = 'p-b'",
                  "record 3, part document: its key is missing, and no record says"},
        Tampering{"key_of_another",
                  "UPDATE body_key SET wrapped = (SELECT wrapped FROM kept_key WHERE subject = "
                  "'p-a') WHERE subject = 'p-b'",
                  "record 3, part document: a key of the journal is not what was kept"},
        Tampering{"key_back", "INSERT INTO body_key SELECT * FROM kept_key WHERE subject = 'p-c'",
                  "was to be destroyed by record 7 and is still there"},
        Tampering{"part_back", "INSERT INTO part SELECT * FROM kept_part WHERE position = 1",
                  "record 1, part document: was to be destroyed and is still there"},
        Tampering{"part_gone_and_excused",
                  "DELETE FROM part WHERE position = 3; INSERT INTO destroyed_part VALUES(3, 3, 8)",
                  "record 3, part document: is missing"},
        Tampering{"part_gone_and_excused_by_none",
                  "DELETE FROM part WHERE position = 3; INSERT INTO destroyed_part VALUES(3, 3, "
                  "1000000)",
                  "record 3, part document: is missing"},
        Tampering{
            "part_gone_and_excused_by_a_number_that_is_none",
            "DELETE FROM part WHERE position = 3; INSERT INTO destroyed_part VALUES(3, 3, -1)",
            "parts of the records 3 to 3: the tables say that record -1 destroyed it, and "
            "there is no such record"},
        Tampering{"key_gone_and_excused_by_none",
                  "INSERT INTO destroyed_key SELECT id, 1000000 FROM body_key WHERE subject = "
                  "'p-b'; DELETE FROM body_key WHERE subject = 'p-b'",
                  "record 3, part document: its key is missing, and no record says"},
        Tampering{"excused_before_anything_is_gone",
                  "INSERT INTO destroyed_key SELECT id, 9 FROM body_key WHERE subject = 'p-b'",
                  "the tables say that record 9 destroyed it, and there is no such record"},
        Tampering{"list_altered",
                  "UPDATE part SET codec = 0, bytes = CAST('records 1 6' || char(10) AS BLOB) "
                  "WHERE position = 8",
                  "record 8, part destroyed: its bytes do not hash"},
        Tampering{"list_gone", "DELETE FROM part WHERE position = 8",
                  "record 8, part destroyed: is missing"}),
    [](const ::testing::TestParamInfo<Tampering>& row) { return std::string(row.param.name); });

TEST_F(SealedFile, IsNotWrittenInClearWhereItsMasterKeyIsNotNamedAnyMore) {
  open();
  take_in("a");
  store_.reset();
  sql("DELETE FROM body_master");
  const std::string path = folder_.file("journal");
  for (const auto& sealing : {std::shared_ptr<const Sealing>(), sealing_of("m")}) {
    const auto opened = open_sqlite_store({path, OpenMode::kEngine, sealing});
    ASSERT_FALSE(opened.has_value());
    EXPECT_EQ(opened.error().code, base::ErrorCode::kCorrupt);
    EXPECT_NE(opened.error().text().find("body_master"), std::string::npos);
  }
  auto command = open_sqlite_store({path, OpenMode::kCommand});
  ASSERT_TRUE(command.has_value()) << command.error().text();
  Change change(record_of(Kind::kAccepted, "b", 1));
  change.parts.push_back(to_stored(Part("document", "body of b")));
  EXPECT_FALSE(journal::write(**command, clock_, std::move(change)).has_value());
  store_ = std::move(*open_sqlite_store({path, OpenMode::kRead}));
  EXPECT_NE(faults().find("does not say which master key is in force"), std::string::npos);
}

// Somebody who can write the file makes the last record say that the other patient's bytes are its
// own: every hash is right, and it does not open.
TEST_F(SealedFile, NamesByItsTagAPartThatWasMovedTogetherWithItsHash) {
  open();
  Change first(record_of(Kind::kAccepted, "a", 1));
  first.parts.push_back(to_stored(Part("document", "body of a")));
  write(std::move(first));
  Change second(record_of(Kind::kAccepted, "aa", 1));
  second.parts.push_back(to_stored(Part("document", "body of b")));
  write(std::move(second));
  std::vector<StoredPart> parts;
  ASSERT_TRUE(store_
                  ->scan_parts(1,
                               [&](const PartRow& row) {
                                 parts.push_back(row.part);
                                 return true;
                               })
                  .has_value());
  const auto head = parse_head(*store_->head_text(2));
  const std::string text = *print_head(head->record, {parts[0]}, head->previous);
  store_.reset();
  const auto quoted = [](std::string_view bytes) {
    return "CAST(x'" + base::to_hex(bytes) + "' AS ";
  };
  const base::Digest leaf = leaf_hash(text);
  sql("UPDATE part SET bytes = (SELECT bytes FROM part WHERE position = 1), codec = " +
      std::to_string(parts[0].codec) + " WHERE position = 2; UPDATE record SET head = " +
      quoted(text) + "TEXT), leaf = x'" + base::to_hex(leaf) + "' WHERE position = 2");
  open();
  EXPECT_EQ(faults(),
            "record 2, part document: what is sealed was altered, or sealed with another key\n");
  EXPECT_EQ(store_->part(2, "document").error().code, base::ErrorCode::kCorrupt);
}

}  // namespace
}  // namespace engine::journal
