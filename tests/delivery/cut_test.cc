// A database that took over from another may lack the last records. Whoever followed the journal
// goes on with what is there.

#include <memory>
#include <string>

#include <gtest/gtest.h>

#include "engine/delivery/pauses.h"
#include "engine/journal/log_marks.h"
#include "tests/delivery/still_world.h"

namespace engine::delivery {
namespace {

using journal::Kind;
using journal::Position;

// A journal that holds so many sessions.
struct Log {
  explicit Log(int sessions) {
    for (int i = 0; i < sessions; ++i) {
      world.add("s" + std::to_string(i));
    }
  }
  journal::Record steer(Kind kind) {
    journal::Record record;
    record.kind = kind;
    record.target = "main";
    record.actor = "Robin Sample";
    record.why = "upgrade";
    return world.write(journal::Change(record)).record;
  }
  const journal::Store& store() const { return *world.store; }
  StillWorld world;
};

TEST(LogMarksTest, SeesThatTheLogWasCutAndWhereItIsStillTheSame) {
  journal::LogMarks marks;
  Log before(0);
  for (int i = 0; i < 5; ++i) {
    before.world.add("s" + std::to_string(i));
    EXPECT_EQ(*marks.look(before.store()), std::nullopt);
  }
  Log after(3);
  EXPECT_EQ(*marks.look(after.store()), std::optional<Position>(6));
  EXPECT_EQ(*marks.look(after.store()), std::nullopt);
  after.world.add("s3");
  after.world.add("other");
  EXPECT_EQ(*marks.look(after.store()), std::nullopt) << "as long as the first, and the same";
  EXPECT_EQ(*marks.look(before.store()), std::optional<Position>(6)) << "as long, and another";
  EXPECT_EQ(*marks.look(Log(0).store()), std::optional<Position>(0));
}

TEST(PausesTest, APauseIsInForceAlsoWhereALaterResumeWasLost) {
  Pauses pauses;
  Log before(5);
  before.steer(Kind::kPaused);
  before.steer(Kind::kResumed);
  ASSERT_TRUE(pauses.follow(before.store()).has_value());
  EXPECT_FALSE(pauses.paused("main").has_value());
  Log after(3);
  pauses.note(after.steer(Kind::kPaused));
  EXPECT_TRUE(pauses.paused("main").has_value());
  pauses.read_again();
  ASSERT_TRUE(pauses.follow(after.store()).has_value());
  EXPECT_TRUE(pauses.paused("main").has_value());
  pauses.note(after.steer(Kind::kResumed));
  EXPECT_FALSE(pauses.paused("main").has_value());
}

TEST(PausesTest, APauseThatWasLostIsNone) {
  Pauses pauses;
  Log before(5);
  before.steer(Kind::kPaused);
  ASSERT_TRUE(pauses.follow(before.store()).has_value());
  EXPECT_TRUE(pauses.paused("main").has_value());
  Log after(3);
  pauses.read_again();
  EXPECT_TRUE(pauses.paused("main").has_value()) << "until it was read";
  ASSERT_TRUE(pauses.follow(after.store()).has_value());
  EXPECT_FALSE(pauses.paused("main").has_value());
}

}  // namespace
}  // namespace engine::delivery
