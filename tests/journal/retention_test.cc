#include "engine/journal/retention.h"

#include <string>

#include <gtest/gtest.h>

#include "engine/base/seams.h"

namespace engine::journal {
namespace {

using std::chrono::day;
using std::chrono::hours;
using std::chrono::month;
using std::chrono::sys_days;
using std::chrono::year;

struct Row {
  const char* kept;
  std::chrono::sys_days now;
  const char* cutoff;
};

TEST(RetentionCutoff, GoesBackByTheCalendar) {
  const auto on = [](int y, unsigned m, unsigned d) {
    return sys_days(year(y) / month(m) / day(d));
  };
  for (const Row& row : {
           Row{"10 years", on(2026, 11, 30), "2016-11-30T09:00:00.000Z"},
           Row{"1 year", on(2028, 2, 29), "2027-02-28T09:00:00.000Z"},
           Row{"4 years", on(2028, 2, 29), "2024-02-29T09:00:00.000Z"},
           Row{"1 month", on(2026, 3, 31), "2026-02-28T09:00:00.000Z"},
           Row{"18 months", on(2026, 11, 30), "2025-05-30T09:00:00.000Z"},
           Row{"90 days", on(2026, 3, 31), "2025-12-31T09:00:00.000Z"},
           Row{"1 day", on(2026, 1, 1), "2025-12-31T09:00:00.000Z"},
           Row{"100 years", on(2026, 11, 30), "1926-11-30T09:00:00.000Z"},
       }) {
    const auto kept = parse_retention(row.kept);
    ASSERT_TRUE(kept.has_value()) << row.kept;
    EXPECT_EQ(cutoff_of(*kept, row.now + hours(9)), row.cutoff) << row.kept;
  }
}

TEST(RetentionText, RefusesWhatIsNoTime) {
  for (const char* text :
       {"", " ", "10", "years", "0 years", "-1 years", "10years", "10  years", "10 Years",
        "10 years ", " 10 years", "1.5 years", "10 weeks", "101 years", "1201 months", "36501 days",
        "99999999999 days", "ten years", "10 years\n"}) {
    const auto refused = parse_retention(text);
    ASSERT_FALSE(refused.has_value()) << text;
    EXPECT_EQ(refused.error().code, base::ErrorCode::kInvalid);
  }
}

TEST(RetentionClock, IsBelievedAsFarAsItRanOn) {
  const auto at = [](int y, unsigned m, unsigned d) {
    return sys_days(year(y) / month(m) / day(d)) + hours(9);
  };
  struct {
    std::chrono::system_clock::time_point now;
    bool believed;
  } const table[] = {
      {at(2026, 11, 30), true},            // as it was
      {at(2026, 12, 1), true},             // a day
      {at(2027, 1, 4), true},              // five weeks, the engine was off
      {at(2027, 1, 4) + hours(1), false},  // longer
      {at(2036, 11, 30), false},
      {at(2099, 1, 1), false},
      {at(2026, 11, 29), true},
      {at(1970, 1, 1), true},  // behind: nothing is old by it
  };
  for (const auto& row : table) {
    EXPECT_EQ(is_believable("2026-11-30T09:00:00.000Z", row.now), row.believed)
        << base::to_instant(row.now);
  }
}

class Belief : public ::testing::Test {
 protected:
  static std::chrono::system_clock::time_point at(int y, unsigned m, unsigned d) {
    return sys_days(year(y) / month(m) / day(d)) + hours(9);
  }
  bool look(std::chrono::system_clock::time_point now) {
    return belief_.believes(now, std::chrono::steady_clock::time_point(hours(++looks_)));
  }
  static Record expired(const char* actor, const char* time, Position position) {
    Record record;
    record.kind = Kind::kExpired;
    record.actor = actor;
    record.time = time;
    record.position = position;
    return record;
  }

  int looks_ = 0;  // an hour apart
  ClockBelief belief_{"2026-11-30T09:00:00.000Z", 7};
};

constexpr const char* kPerson = "Robin Sample (command, uid 1000 robin)";

TEST_F(Belief, GoesOnWithTheClock) {
  EXPECT_TRUE(look(at(2026, 11, 30) + std::chrono::minutes(20)));
  EXPECT_EQ(belief_.at(), "2026-11-30T09:00:00.000Z") << "not worth a write";
  EXPECT_TRUE(look(at(2027, 1, 4)));
  EXPECT_EQ(belief_.at(), "2027-01-04T09:00:00.000Z");
  EXPECT_FALSE(look(at(2037, 11, 30)));
  EXPECT_EQ(belief_.at(), "2027-01-04T09:00:00.000Z");
}

TEST_F(Belief, IsAPersonsWhoRemovedBodiesByTheClockWhereverThatWas) {
  EXPECT_FALSE(look(at(2037, 11, 30)));
  belief_.read(expired("chartferry 0.1.0", "2037-11-30T08:00:00.000Z", 8));
  EXPECT_FALSE(look(at(2037, 11, 30))) << "another engine's clock is that engine's";
  belief_.read(expired(kPerson, "2037-11-30T08:30:00.000Z", 9));
  EXPECT_TRUE(look(at(2037, 11, 30)));
  EXPECT_EQ(belief_.through(), 9U);
  belief_.read(expired(kPerson, "2030-01-01T00:00:00.000Z", 10));
  EXPECT_TRUE(look(at(2037, 11, 30))) << "that person's clock was behind";
}

TEST_F(Belief, OfAWrongClockIsNotForGood) {
  belief_.read(expired(kPerson, "2037-11-30T08:30:00.000Z", 8));
  EXPECT_TRUE(look(at(2037, 11, 30)));
  EXPECT_TRUE(look(at(2026, 11, 30))) << "set right: nothing is old by it";
  EXPECT_EQ(belief_.at(), "2037-11-30T08:30:00.000Z");
  EXPECT_TRUE(look(at(2026, 11, 30)));
  EXPECT_EQ(belief_.at(), "2026-11-30T09:00:00.000Z");
  EXPECT_FALSE(look(at(2037, 11, 30))) << "the same mistake again";
}

TEST_F(Belief, IsLeftByNoClockThatComesRightSoonAfterAStart) {
  EXPECT_TRUE(look(at(1970, 1, 1)));
  EXPECT_TRUE(look(at(2026, 11, 30)));
  EXPECT_TRUE(look(at(1970, 1, 1))) << "counted anew";
  EXPECT_EQ(belief_.at(), "2026-11-30T09:00:00.000Z");
}

TEST_F(Belief, IsReadBackFromItsLine) {
  EXPECT_EQ(belief_.print(), "2026-11-30T09:00:00.000Z through 7\n");
  const auto again = ClockBelief::parse(belief_.print());
  ASSERT_TRUE(again.has_value());
  EXPECT_EQ(again->print(), belief_.print());
  const auto before = ClockBelief::parse("2026-11-30T09:00:00.000Z\n");
  ASSERT_TRUE(before.has_value()) << "as earlier versions wrote it";
  EXPECT_EQ(before->through(), 0U);
  for (const char* line :
       {"", "\n", "2026-11-30T09:00:00.000Z", "2026-11-30\n", "2026-11-30T09:00:00.000Z \n",
        "2026-11-30T09:00:00.000Z through \n", "2026-11-30T09:00:00.000Z through x\n",
        "2026-11-30T09:00:00.000Z through 7 8\n", "2026-11-30T09:00:00.000Z throughout 7\n",
        "2026-11-30T09:00:00.000Z through 7\n\n", "2026-11-30T09:00:00.000Z through -7\n",
        "2026-11-30T09:00:00.000Z through 99999999999999999999\n"}) {
    EXPECT_FALSE(ClockBelief::parse(line).has_value()) << line;
  }
}

TEST(RetentionClock, TakesOnlyAnInstantFromItsFile) {
  EXPECT_TRUE(is_instant("2026-11-30T09:00:00.000Z"));
  for (const char* text : {"", "2026-11-30", "2026-11-30T09:00:00Z", "2026-11-30T09:00:00.000Z\n",
                           "zzzz-zz-zzTzz:zz:zz.zzzZ", "2026-11-30T09:00:00.000+"}) {
    EXPECT_FALSE(is_instant(text)) << text;
  }
}

}  // namespace
}  // namespace engine::journal
