#include "engine/therapy/clock_text.h"

#include <gtest/gtest.h>

namespace engine::therapy {
namespace {

TEST(ClockText, OffsetsDecideTheMomentNotTheClockOnTheWall) {
  const auto winter = parse_moment("2026-03-29T01:30:00+01:00");
  const auto summer = parse_moment("2026-03-29T03:30:00+02:00");
  ASSERT_TRUE(winter && summer);
  // Between them the clocks go forward: two hours on the wall, one hour passed.
  EXPECT_EQ(summer->milliseconds - winter->milliseconds, 60 * kMinuteMs);
  EXPECT_EQ(local_clock(*winter), "01:30");
  EXPECT_EQ(local_clock(*summer), "03:30");
}

TEST(ClockText, TheHourThatComesTwiceInAutumnIsTwoMoments) {
  const auto first = parse_moment("2026-10-25T02:30:00+02:00");
  const auto second = parse_moment("2026-10-25T02:30:00+01:00");
  ASSERT_TRUE(first && second);
  EXPECT_TRUE(*first < *second);
  EXPECT_EQ(local_clock(*first), local_clock(*second));
}

TEST(ClockText, ReadsKnownMoments) {
  EXPECT_EQ(parse_moment("1970-01-01T00:00:00Z")->milliseconds, 0);
  EXPECT_EQ(parse_moment("2000-03-01T00:00:00Z")->milliseconds, 951'868'800'000);
  EXPECT_EQ(parse_moment("2026-03-02T09:00:00.250+01:00")->milliseconds % 1'000, 250);
  EXPECT_FALSE(parse_moment("2026-03-02")->has_time);
  EXPECT_FALSE(parse_moment("2026-03"));
  EXPECT_FALSE(parse_moment(""));
}

TEST(ClockText, AgeCountsFullYearsOnTheLocalCalendar) {
  const auto day_before = parse_moment("2026-02-10T23:30:00+01:00");
  const auto birthday = parse_moment("2026-02-11T00:30:00+01:00");  // still the 10th in UTC
  EXPECT_EQ(age_at("1966-02-11", *day_before), 59);
  EXPECT_EQ(age_at("1966-02-11", *birthday), 60);
  EXPECT_FALSE(age_at("1966", *birthday));
  EXPECT_FALSE(age_at("2030-01-01", *birthday));
}

}  // namespace
}  // namespace engine::therapy
