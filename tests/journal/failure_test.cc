#include "engine/journal/failure.h"

#include <gtest/gtest.h>

namespace engine::journal {
namespace {

using base::Error;
using base::ErrorCode;
using std::chrono::seconds;

TEST(FailureKind, IsWhatSomebodyCanPutRight) {
  struct Row {
    Error error;
    const char* name;
  };
  const Row table[] = {
      {Error(ErrorCode::kIo, "the journal's file: database or disk is full"), "disk-full"},
      {Error(ErrorCode::kIo, "the journal's file: attempt to write a readonly database"),
       "read-only"},
      {Error(ErrorCode::kIo, "the journal's file: disk I/O error"), "disk"},
      {Error(ErrorCode::kIo, "the journal's database: server closed the connection"), "database"},
      {Error(ErrorCode::kIo, "the journal's database: could not extend file: No space left"),
       "disk-full"},
      {Error(ErrorCode::kCorrupt, "the journal's file: database disk image is malformed"),
       "damaged"},
      {Error(ErrorCode::kIo, "the journal's file: no such index: leg_due"), "damaged"},
      {Error(ErrorCode::kConflict, "bodies of this journal are sealed under the master key a"),
       "master-key"},
      {Error(ErrorCode::kInvalid, "a member holds a control character"), "content"},
  };
  for (const Row& row : table) {
    EXPECT_EQ(kind_of_failure(row.error).name, row.name) << row.error.detail;
  }
}

TEST(FailureLog, SaysItOnceThenOnceAMinuteAndWhenItIsOver) {
  FailureLog log;
  const FailureLog::Time start{};
  const Error full(ErrorCode::kIo, "database or disk is full \"x\"\nsecond line");
  EXPECT_FALSE(log.well(start).has_value());
  const auto first = log.failed(full, start);
  ASSERT_TRUE(first.has_value());
  EXPECT_EQ(first->event, "journal-failing");
  EXPECT_EQ(first->rest,
            "kind=disk-full failures=1 what=\"database or disk is full 'x''second line\"");
  for (int second = 0; second < 60; ++second) {
    EXPECT_FALSE(log.failed(full, start + seconds(second)).has_value()) << second;
  }
  EXPECT_EQ(log.failed(full, start + seconds(60))->rest.substr(0, 26),
            "kind=disk-full failures=62");
  const auto well = log.well(start + seconds(95));
  ASSERT_TRUE(well.has_value());
  EXPECT_EQ(well->event + " " + well->rest, "journal-well failures=62 seconds=95");
  EXPECT_FALSE(log.well(start + seconds(96)).has_value());
  EXPECT_TRUE(log.failed(full, start + seconds(97)).has_value()) << "another one";
}

TEST(FailureLog, SaysOnceAMinuteWhatIsDamagedForSomeChanges) {
  FailureLog log;
  const FailureLog::Time start{};
  const Error damaged(ErrorCode::kCorrupt, "a key is damaged", "key 0a");
  const auto first = log.damaged(damaged, start);
  ASSERT_TRUE(first.has_value());
  EXPECT_EQ(first->event + " " + first->rest,
            "journal-damaged changes=1 what=\"a key is damaged (key 0a)\"");
  EXPECT_FALSE(log.damaged(damaged, start + seconds(59)).has_value());
  EXPECT_EQ(log.damaged(damaged, start + seconds(60))->rest.substr(0, 9), "changes=3");
  EXPECT_FALSE(log.well(start + seconds(61)).has_value()) << "the journal was not failing";
}

}  // namespace
}  // namespace engine::journal
