#include "engine/base/result.h"

#include <memory>

#include <gtest/gtest.h>

#include "engine/base/seams.h"

namespace engine::base {
namespace {

Result<int> half(int value) {
  if (value % 2 != 0) {
    return Error{ErrorCode::kInvalid, "an even number is expected", "argument"};
  }
  return value / 2;
}

TEST(Result, HoldsAValueOrAnError) {
  EXPECT_EQ(*half(4), 2);
  const Result<int> odd = half(3);
  ASSERT_FALSE(odd.has_value());
  EXPECT_EQ(odd.error().code, ErrorCode::kInvalid);
  EXPECT_EQ(odd.error().text(), "an even number is expected (argument)");
  EXPECT_EQ(Error(ErrorCode::kIo, "no disk").text(), "no disk");
}

TEST(Result, MovesWhatCannotBeCopied) {
  Result<std::unique_ptr<int>> owner = std::make_unique<int>(5);
  const std::unique_ptr<int> taken = *std::move(owner);
  EXPECT_EQ(*taken, 5);
}

TEST(Result, OfNothingTellsSuccess) {
  const Result<void> good;
  EXPECT_TRUE(good.has_value());
  const Result<void> bad = Error{ErrorCode::kLimit, "too much"};
  EXPECT_FALSE(bad.has_value());
  EXPECT_EQ(name_of(bad.error().code), "limit");
}

TEST(ResultDeath, ReadingTheWrongSideIsABugOfOurs) {
  EXPECT_DEATH(static_cast<void>(half(3).value()), "check_failed");
  EXPECT_DEATH(static_cast<void>(half(4).error()), "check_failed");
}

TEST(Instant, IsPrintedInUtcWithMilliseconds) {
  using std::chrono::milliseconds;
  using std::chrono::sys_days;
  const std::chrono::system_clock::time_point epoch{};
  EXPECT_EQ(to_instant(epoch), "1970-01-01T00:00:00.000Z");
  EXPECT_EQ(to_instant(epoch + milliseconds(1)), "1970-01-01T00:00:00.001Z");
  EXPECT_EQ(to_instant(epoch - milliseconds(1)), "1969-12-31T23:59:59.999Z");
  const std::chrono::year_month_day leap{std::chrono::year(2024), std::chrono::month(2),
                                         std::chrono::day(29)};
  EXPECT_EQ(to_instant(sys_days(leap) + std::chrono::hours(23) + milliseconds(59'999)),
            "2024-02-29T23:00:59.999Z");
}

}  // namespace
}  // namespace engine::base
