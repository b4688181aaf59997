// A database that took over from another may lack the last records. Whoever followed the journal
// goes on with what is there.

#include <memory>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "engine/delivery/notices.h"
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

TEST(LogMarksTest, ReachFarBackHoweverOftenSomebodyLooks) {
  journal::LogMarks marks;
  Log before(3);
  ASSERT_EQ(*marks.look(before.store()), std::nullopt);
  for (int i = 0; i < 1000; ++i) {
    before.steer(i % 2 == 0 ? Kind::kPaused : Kind::kResumed);
    ASSERT_EQ(*marks.look(before.store()), std::nullopt);
    ASSERT_EQ(marks.end(), 7U + static_cast<Position>(i));
  }
  EXPECT_EQ(*marks.look(Log(4).store()), std::optional<Position>(6));
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

TEST(PausesTest, WhatWasLostBeforeTheNextLookIsReadAgain) {
  Pauses pauses;
  Log before(5);
  Log after(5);
  for (Log* log : {&before, &after}) {
    log->steer(Kind::kPaused);
  }
  ASSERT_TRUE(pauses.follow(before.store()).has_value());
  pauses.note(before.steer(Kind::kResumed));
  EXPECT_FALSE(pauses.paused("main").has_value());
  for (const char* session : {"x", "y"}) {  // longer than what was seen, and the pause stands
    after.world.add(session);
  }
  ASSERT_TRUE(pauses.follow(after.store()).has_value());
  EXPECT_TRUE(pauses.paused("main").has_value());
}

// A journal whose database is another one from some moment on.
struct Changing final : journal::Appender {
  bool submit(journal::Change change, Done done) override {
    return now->appender.submit(std::move(change), std::move(done));
  }
  journal::Store& store() const override { return *now->store; }
  StillWorld* now = nullptr;
};

journal::Position happen(StillWorld& world, Kind kind, const std::string& session,
                         const std::string& reason = "") {
  journal::Record record;
  record.kind = kind;
  record.session = session;
  record.revision = 1;
  record.target = "main";
  record.patient = "p-" + session;
  record.reason = reason;
  return world.write(journal::Change(record)).position;
}

// Notices of one log, and another that comes in its place.
class CutNotices : public ::testing::Test {
 protected:
  void begin(std::initializer_list<const char*> sessions) {
    for (StillWorld* world : {&before, &after}) {
      for (const char* session : sessions) {
        world->add(session);
      }
    }
    journal.now = &before;
    before.peer.answer = [this](const Call& call) {
      told.push_back(call.body);
      return StillPeer::status(204);
    };
    notices = std::make_shared<Notices>(
        Notices::World{journal, before.peer, before.loop, before.clock, before.random});
    ASSERT_TRUE(notices
                    ->open([this](journal::Change change) {
                      after.write(change);
                      return base::Result<journal::Outcome>(before.write(std::move(change)));
                    })
                    .has_value());
  }

  StillWorld before;
  StillWorld after;
  Changing journal;
  std::vector<std::string> told;
  std::shared_ptr<Notices> notices;
};

// The usual way: only what came since the last look of the engine is lost, and the log that is in
// force has grown past it when somebody looks again.
TEST_F(CutNotices, TellWhatStandsWhereWhatTheyTellOfWasLost) {
  begin({"a", "b", "c", "d"});
  const auto tick = [&] {
    notices->look();
    before.loop.run_until(before.clock.ms + 240);
    after.loop.run_until(after.clock.ms + 240);
  };
  for (StillWorld* world : {&before, &after}) {
    happen(*world, Kind::kHeld, "a", "unknown-patient");
  }
  tick();
  happen(before, Kind::kDispatched, "b");
  happen(before, Kind::kLanded, "b");
  notices->look();  // as at each answer of the receiver
  before.loop.run_until(before.clock.ms + 10);
  ASSERT_EQ(told.size(), 2U);
  journal.now = &after;
  happen(after, Kind::kDispatched, "c");
  const Position held = happen(after, Kind::kHeld, "c", "refused");
  happen(after, Kind::kDispatched, "d");
  const Position landed = happen(after, Kind::kLanded, "d");
  for (int i = 0; i < 200; ++i) {
    tick();
  }
  std::string all;
  for (const std::string& one : told) {
    all += one + "\n";
  }
  for (const Position position : {held, landed}) {
    EXPECT_NE(all.find("{\"event\":" + std::to_string(position) + ",\"time\""), std::string::npos)
        << all;
  }
  EXPECT_NE(all.find("\"session\":\"c\",\"revision\":1,\"target\":\"main\",\"state\":\"held\""),
            std::string::npos)
      << all;
  // And what the journal says of it is how far it came in this log.
  EXPECT_GE(after.store->newest(Kind::kNoticed)->value().through, landed);
}

// The record of how far it came may be of before, too: it was written into the log in force by an
// engine that did not know yet.
TEST_F(CutNotices, BelieveNoRecordOfThemselvesThatTellsOfWhatIsLost) {
  begin({"a", "b"});
  notices->look();
  happen(before, Kind::kDispatched, "a");
  happen(before, Kind::kLanded, "a");
  notices->look();
  before.loop.run_until(before.clock.ms + 250);
  ASSERT_EQ(told.size(), 1U);
  const Position through = notices->through();
  journal.now = &after;
  happen(after, Kind::kDispatched, "b");
  const Position held = happen(after, Kind::kHeld, "b", "refused");
  ASSERT_LE(held, through);
  journal::Change noted;
  noted.record.kind = Kind::kNoticed;
  noted.record.through = through;
  after.write(noted);
  for (int i = 0; i < 100; ++i) {
    notices->look();
    before.loop.run_until(before.clock.ms + 250);
  }
  ASSERT_EQ(told.size(), 2U);
  EXPECT_NE(told[1].find("\"session\":\"b\""), std::string::npos) << told[1];
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
