// Values of another type than their column: SQLite keeps them, they read the same, and no search
// finds them.

#include <filesystem>
#include <string>
#include <vector>

#include <sqlite3.h>

#include "engine/base/limits.h"
#include "engine/journal/copy.h"
#include "tests/journal/fixture.h"
#include "tests/journal/sealed_store.h"

namespace engine::journal {
namespace {

class Types : public ::testing::Test {
 protected:
  // Every table has a row.
  void SetUp() override {
    ASSERT_TRUE(open(OpenMode::kEngine, "").has_value());
    write(accepted("a"));
    write(Change(record_of(Kind::kWithdrawn, "a", 1)));
    ASSERT_TRUE(open(OpenMode::kEngine).has_value());
    ASSERT_TRUE(shred("p-a").has_value());
    write(accepted("b"));
    write(Change(record_of(Kind::kWithdrawn, "b", 1)));
    ASSERT_TRUE(shred("p-b").has_value());
    write(accepted("c"));
    Record checked = record_of(Kind::kChecked, "c", 1);
    checked.patient = "p-c";
    write(Change(checked));
    ASSERT_TRUE(store_->agree("search-key", "mark").has_value());
    Record hold;
    hold.kind = Kind::kHold;
    hold.patient = "p-c";
    hold.therapist = "t";
    hold_ = write(Change(hold)).record.position;
    store_.reset();
  }
  static Change accepted(const std::string& session) {
    Change change(record_of(Kind::kAccepted, session, 1));
    change.parts.push_back(to_stored(Part("document", "body of " + session)));
    return change;
  }
  base::Result<void> open(OpenMode mode, const char* masters = "m", const char* file = "journal") {
    store_.reset();
    auto opened = open_sqlite_store(
        {folder_.file(file), mode, *masters == 0 ? nullptr : sealing_of(masters)});
    if (!opened) {
      return opened.error();
    }
    store_ = std::move(*opened);
    return {};
  }
  Outcome write(Change change) {
    auto outcome = journal::write(*store_, clock_, std::move(change));
    EXPECT_TRUE(outcome.has_value()) << (outcome ? "" : outcome.error().text());
    return outcome ? *outcome : Outcome();
  }
  base::Result<Outcome> shred(const std::string& patient) {
    Record record;
    record.kind = Kind::kShredded;
    record.patient = patient;
    record.reason = "even-unsent";
    return journal::write(*store_, clock_, Change(record));
  }
  // Whether SQLite took it, and the rows that it gave.
  bool sql(const std::string& text, std::vector<std::string>* rows = nullptr,
           const char* file = "journal") {
    sqlite3* raw = nullptr;
    sqlite3_open(folder_.file(file).c_str(), &raw);
    const auto keep = [](void* to, int count, char** values, char**) {
      std::string row;
      for (int i = 0; i < count && to != nullptr; ++i) {
        row += (row.empty() ? "" : " ") + std::string(values[i]);
      }
      if (to != nullptr) {
        static_cast<std::vector<std::string>*>(to)->push_back(row);
      }
      return 0;
    };
    const bool done = sqlite3_exec(raw, text.c_str(), keep, rows, nullptr) == SQLITE_OK;
    sqlite3_close(raw);
    return done;
  }
  std::string faults() {
    const auto differences = store_->check_fold(base::limits::kIssuesMax);
    std::string out = differences ? "" : differences.error().text();
    for (const std::string& text : differences ? *differences : std::vector<std::string>()) {
      out += text + "\n";
    }
    return out;
  }

  TemporaryFolder folder_;
  SetClock clock_;
  std::unique_ptr<Store> store_;
  Position hold_ = 0;
};

TEST_F(Types, AreNamedInEachColumnOfEachTable) {
  ASSERT_TRUE(open(OpenMode::kRead).has_value());
  ASSERT_EQ(faults(), "");
  std::vector<std::string> columns;
  ASSERT_TRUE(
      sql("SELECT t.name || ' ' || c.name || ' ' || c.type FROM sqlite_master AS t, "
          "pragma_table_info(t.name) AS c WHERE t.type = 'table'",
          &columns));
  int impossible = 0;
  for (const std::string& column : columns) {
    const std::string table = column.substr(0, column.find(' '));
    const std::string name = column.substr(table.size() + 1, column.rfind(' ') - table.size() - 1);
    const bool bytes = column.ends_with(" BLOB");
    store_.reset();
    std::filesystem::copy_file(folder_.file("journal"), folder_.file("altered"),
                               std::filesystem::copy_options::overwrite_existing);
    const std::string text = "CAST(" + name + " AS TEXT)";
    if (!sql("UPDATE " + table + " SET " + name + " = " +
                 (bytes ? text : "CAST(" + text + " AS BLOB)") + " WHERE " + name + " IS NOT NULL",
             nullptr, "altered")) {
      ++impossible;
      continue;
    }
    ASSERT_TRUE(open(OpenMode::kRead, "m", "altered").has_value());
    EXPECT_NE(faults().find("table " + table + ", row "), std::string::npos) << column << "\n"
                                                                             << faults();
  }
  // The keys that are the number of the row: SQLite keeps those itself.
  EXPECT_EQ(impossible, 3);
  EXPECT_GT(columns.size(), 40u);
}

TEST_F(Types, HideNoLegalHoldAndNoLegFromWhatIsDecidedByThem) {
  for (const char* alteration :
       {"UPDATE record SET kind = CAST(CAST(kind AS TEXT) AS BLOB) WHERE kind = 25",
        "UPDATE record SET patient = CAST(patient AS BLOB) WHERE session = 'c'",
        "UPDATE leg SET target = CAST(target AS BLOB) WHERE session = 'c'",
        "UPDATE revision SET session = CAST(session AS BLOB) WHERE session = 'c'",
        "UPDATE body_key SET subject = CAST(subject AS BLOB)"}) {
    std::filesystem::copy_file(folder_.file("journal"), folder_.file("kept"));
    ASSERT_TRUE(open(OpenMode::kCommand).has_value());
    EXPECT_EQ(shred("p-c")->record.reason, "legal-hold");
    ASSERT_EQ(store_->legal_holds()->size(), 1u);
    // With what finds such rows at once, and without.
    for (const char* index : {"", "; DROP INDEX record_types; DROP INDEX leg_types"}) {
      ASSERT_TRUE(sql(std::string(alteration) + index)) << alteration;
      const auto started = open(OpenMode::kEngine);
      ASSERT_FALSE(started.has_value()) << alteration;
      EXPECT_EQ(started.error().code, base::ErrorCode::kCorrupt);
      EXPECT_NE(started.error().text().find("has another type than its column"), std::string::npos);
      ASSERT_TRUE(open(OpenMode::kCommand).has_value());
      EXPECT_EQ(shred("p-c").error().code, base::ErrorCode::kCorrupt) << alteration;
      EXPECT_EQ(store_->legal_holds().error().code, base::ErrorCode::kCorrupt) << alteration;
      EXPECT_NE(faults().find("another type"), std::string::npos) << alteration;
    }
    // The records say it all, so a copy of them is whole.
    ASSERT_TRUE(open(OpenMode::kRead).has_value());
    const auto altered = std::move(store_);
    ASSERT_TRUE(open(OpenMode::kCopy, "m", "copy").has_value());
    ASSERT_TRUE(copy_journal(*altered, *store_, true, [](Position) {}).has_value());
    ASSERT_TRUE(open(OpenMode::kEngine, "m", "copy").has_value());
    EXPECT_EQ(faults(), "") << alteration;
    EXPECT_EQ(shred("p-c")->record.reason, "legal-hold");
    store_.reset();
    std::filesystem::remove(folder_.file("copy"));
    std::filesystem::rename(folder_.file("kept"), folder_.file("journal"));
  }
}

// An engine makes what finds such rows in a file of before.
TEST_F(Types, AreFoundAtOnceInAFileOfBefore) {
  std::vector<std::string> before;
  std::vector<std::string> after;
  const char* const indexes =
      "SELECT name FROM sqlite_master WHERE name LIKE '%\\_types' ESCAPE '\\'";
  ASSERT_TRUE(
      sql("DROP INDEX record_types; DROP INDEX revision_types; DROP INDEX leg_types; "
          "DROP INDEX body_key_types"));
  ASSERT_TRUE(open(OpenMode::kRead).has_value());
  EXPECT_EQ(faults(), "");
  ASSERT_TRUE(open(OpenMode::kCommand).has_value());
  ASSERT_TRUE(sql(indexes, &before));
  EXPECT_EQ(before.size(), 0u);
  ASSERT_TRUE(open(OpenMode::kEngine).has_value());
  ASSERT_TRUE(sql(indexes, &after));
  EXPECT_EQ(after.size(), 4u);
  EXPECT_EQ(faults(), "");
}

}  // namespace
}  // namespace engine::journal
