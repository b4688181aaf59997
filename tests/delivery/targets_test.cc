// What a site and its people may do to a target: pause it, slow it, let it have few requests.

#include <algorithm>
#include <string>

#include <gtest/gtest.h>

#include "engine/delivery/pace.h"
#include "engine/delivery/target_desk.h"
#include "tests/delivery/still_world.h"

namespace engine::delivery {
namespace {

using std::chrono::milliseconds;

class TargetsTest : public ::testing::Test {
 protected:
  void start(CourierLimits limits = {}) {
    desk_ = std::make_unique<TargetDesk>(world_.appender, world_.loop);
    world_.appender.wrote = [this](const auto& outcomes) { desk_->wrote(outcomes); };
    courier_ = world_.courier(limits);
    ASSERT_TRUE(
        desk_->open({{"main", [] { return "transaction"; }, limits}}, {courier_}).has_value());
    courier_->wake();
  }
  // What the person is told: the record's position, or the error's text.
  std::string steer(bool pause, const std::string& actor = "Robin Sample",
                    const std::string& target = "main") {
    std::string told = "nothing";
    desk_->steer({target, pause, actor, "upgrade of the record server"},
                 [&told](const base::Result<journal::Outcome>& outcome) {
                   told = outcome ? "position " + std::to_string(outcome->position)
                                  : outcome.error().text();
                 });
    run(0);
    return told;
  }
  void run(std::int64_t ms) { world_.loop.run_until(world_.clock.ms + ms); }
  std::string view() {
    desk_->follow();
    return *desk_->view();
  }

  StillWorld world_;
  std::unique_ptr<TargetDesk> desk_;
  std::shared_ptr<Courier> courier_;
};

TEST_F(TargetsTest, APausedTargetGetsNothingAndWhatIsUnderWayEnds) {
  start({2, 0});
  world_.add("a");
  world_.add("b");
  world_.add("c");
  courier_->wake();
  run(0);
  ASSERT_EQ(world_.peer.asked.size(), 2U);
  EXPECT_EQ(steer(true), "position 9");
  run(60'000);
  EXPECT_EQ(world_.peer.asked.size(), 2U);
  EXPECT_EQ(world_.kinds(6), "dispatched dispatched paused landed landed");
  EXPECT_EQ(steer(false), "position 12");
  run(1'000);
  EXPECT_EQ(world_.kinds(11), "resumed dispatched landed");
}

TEST_F(TargetsTest, NothingIsDispatchedBetweenPauseAndResumeInTheJournal) {
  start();
  for (int i = 0; i < 200; ++i) {
    world_.add("s" + std::to_string(i));
  }
  courier_->wake();
  for (int round = 0; round < 10; ++round) {
    run(7);
    ASSERT_EQ(steer(true).substr(0, 8), "position");
    run(50);
    ASSERT_EQ(steer(false).substr(0, 8), "position");
  }
  run(10'000);
  const std::string kinds = world_.kinds(400);
  std::size_t paused = kinds.find("paused");
  ASSERT_NE(paused, std::string::npos);
  for (; paused != std::string::npos; paused = kinds.find("paused", paused + 1)) {
    const std::string between = kinds.substr(paused, kinds.find("resumed", paused) - paused);
    EXPECT_EQ(between.find("dispatched"), std::string::npos) << between;
  }
  EXPECT_EQ(world_.count(journal::Kind::kLanded), 200U);
}

TEST_F(TargetsTest, APauseOutlivesTheEngine) {
  start();
  steer(true);
  courier_.reset();
  world_.add("a");
  start();
  run(60'000);
  EXPECT_TRUE(world_.peer.asked.empty());
  EXPECT_EQ(steer(false).substr(0, 8), "position");
  run(1'000);
  courier_.reset();
  world_.add("b");
  start();
  run(1'000);
  EXPECT_EQ(world_.count(journal::Kind::kLanded), 2U);
}

TEST_F(TargetsTest, APauseThatAnotherProcessWroteIsFollowed) {
  start();
  Pauses pauses;
  world_.write(*pause_change(pauses, {"main"}, {"main", true, "Robin Sample", "upgrade"}));
  desk_->follow();
  world_.add("a");
  courier_->wake();
  run(5'000);
  EXPECT_TRUE(world_.peer.asked.empty());
  EXPECT_TRUE(desk_->gauges()[0].paused);
  ASSERT_TRUE(pauses.follow(*world_.store).has_value());
  world_.write(*pause_change(pauses, {"main"}, {"main", false, "Robin Sample", "done"}));
  desk_->follow();
  run(1'000);
  EXPECT_EQ(world_.count(journal::Kind::kLanded), 1U);
}

TEST_F(TargetsTest, APauseThatCannotBeWrittenIsNone) {
  start();
  world_.appender.failing = true;
  EXPECT_NE(steer(true).find("the disk is full"), std::string::npos);
  world_.appender.failing = false;
  world_.appender.full = true;
  EXPECT_NE(steer(true).find("cannot keep up"), std::string::npos);
  world_.appender.full = false;
  world_.add("a");
  courier_->wake();
  run(2'000);
  EXPECT_EQ(world_.count(journal::Kind::kLanded), 1U);
}

TEST_F(TargetsTest, RefusesAPauseThatSaysTooLittleOrChangesNothing) {
  start();
  EXPECT_NE(steer(true, "").find("say who you are"), std::string::npos);
  EXPECT_NE(steer(true, "a\nb").find("control characters"), std::string::npos);
  EXPECT_NE(steer(true, std::string(1'001, 'x')).find("1000 bytes"), std::string::npos);
  EXPECT_NE(steer(true, "Robin Sample", "other").find("there is: main"), std::string::npos);
  EXPECT_NE(steer(false).find("it is not paused"), std::string::npos);
  EXPECT_EQ(steer(true, std::string(1'000, 'x')).substr(0, 8), "position");
  EXPECT_NE(steer(true).find("paused already"), std::string::npos);
  EXPECT_EQ(world_.kinds(), "paused");
}

TEST_F(TargetsTest, TellsHowTheTargetDoes) {
  start({3, 2.5});
  EXPECT_EQ(view(), R"([{"target":"main","state":"sending","backlog":{},"mode":"transaction",)"
                    R"("limits":{"inFlight":3,"requestsPerSecond":2.5},"inFlight":0}])");
  world_.peer.answer = [](const Call&) { return StillPeer::status(503); };
  world_.add("a");
  courier_->wake();
  run(20);
  const std::string waiting = view();
  EXPECT_NE(
      waiting.find(R"("state":"waiting","reason":"unavailable","backlog":{"checked":1},)"
                   R"("oldestWaiting":"2027-01-15T08:00:00.000Z","lastError":)"
                   R"({"code":"unavailable","time":"2027-01-15T08:00:00.005Z","status":503})"),
      std::string::npos)
      << waiting;
  steer(true);
  const std::string paused = view();
  EXPECT_NE(paused.find(R"("state":"paused","pausedBy":{"actor":"Robin Sample","why":)"
                        R"("upgrade of the record server","since":)"),
            std::string::npos)
      << paused;
  EXPECT_EQ(paused.find("p-a"), std::string::npos) << "nothing of a patient";
  world_.peer.answer = [](const Call& call) {
    return call.method == "GET" ? StillPeer::status(200) : StillPeer::landed(call);
  };
  steer(false);
  run(70'000);
  EXPECT_NE(view().find(R"("state":"sending","backlog":{},"lastLanding":"2027-01-15T08:0)"),
            std::string::npos)
      << view();
  courier_.reset();
  start();
  EXPECT_NE(view().find(R"("lastLanding":"2027)"), std::string::npos) << "a new engine looks back";
}

TEST_F(TargetsTest, KeepsToItsPace) {
  start({8, 10});
  for (int i = 0; i < 50; ++i) {
    world_.add("s" + std::to_string(i));
  }
  courier_->wake();
  run(3'000);
  // 10 a second from the first on: 0, 100, 200 ... 3000.
  ASSERT_EQ(world_.peer.asked.size(), 31U);
  for (std::size_t i = 1; i < world_.peer.asked.size(); ++i) {
    EXPECT_GE(world_.peer.asked[i].first - world_.peer.asked[i - 1].first, 100);
  }
  run(2'000);
  EXPECT_EQ(world_.count(journal::Kind::kLanded), 50U);
}

TEST_F(TargetsTest, AFastPaceIsReachedAndNotPassed) {
  start({64, 200});
  world_.peer.takes_ms = 20;
  for (int i = 0; i < 500; ++i) {
    world_.add("s" + std::to_string(i));
  }
  courier_->wake();
  run(2'000);
  EXPECT_LE(world_.peer.asked.size(), 420U);  // 2 s of 200, and a tenth of a second's worth
  EXPECT_GE(world_.peer.asked.size(), 400U);
}

TEST_F(TargetsTest, HasAtMostSoManyUnderWay) {
  for (const std::size_t most : {1U, 3U, 20U}) {
    world_.peer.most_in_flight = 0;
    start({most, 0});
    for (int i = 0; i < 40; ++i) {
      world_.add("s" + std::to_string(most) + "-" + std::to_string(i));
    }
    courier_->wake();
    run(5'000);
    EXPECT_EQ(world_.peer.most_in_flight, static_cast<int>(most));
    courier_.reset();
  }
  EXPECT_EQ(world_.count(journal::Kind::kLanded), 120U);
}

// RFC 9110 section 10.2.3: Retry-After is how long to wait; it is the server's word, not one
// message's.
TEST_F(TargetsTest, RetryAfterHoldsTheWholeTarget) {
  for (const int status : {429, 503}) {
    start();
    const std::int64_t from = world_.clock.ms;
    const std::size_t before = world_.peer.asked.size();
    world_.peer.answer = [&](const Call& call) {
      if (world_.clock.ms < from + 30'000) {
        Reply reply = StillPeer::status(status);
        reply.headers.emplace_back("Retry-After", "30");
        return reply;
      }
      return call.method == "GET" ? StillPeer::status(200) : StillPeer::landed(call);
    };
    for (int i = 0; i < 20; ++i) {
      world_.add(std::to_string(status) + "-" + std::to_string(i));
    }
    courier_->wake();
    run(5);
    const std::size_t under_way = world_.peer.asked.size() - before;
    EXPECT_EQ(under_way, 8U) << "what was under way with the first";
    run(29'990);
    EXPECT_EQ(world_.peer.asked.size() - before, under_way) << "not even a question";
    run(30'000);
    courier_.reset();
  }
  EXPECT_EQ(world_.count(journal::Kind::kLanded), 40U);
}

TEST(Pace, SpacesEvenly) {
  const Pace::Time start{};
  Pace slow(0.5);
  EXPECT_EQ(slow.wait(start), milliseconds(0));
  slow.spend(start);
  EXPECT_EQ(slow.wait(start), milliseconds(2'000));
  EXPECT_EQ(slow.wait(start + milliseconds(1'999)), milliseconds(1));
  EXPECT_EQ(slow.wait(start + milliseconds(2'000)), milliseconds(0));
  slow.spend(start);  // something that could not wait: the next one waits the longer
  EXPECT_EQ(slow.wait(start), milliseconds(4'000));
  Pace none(0);
  none.spend(start);
  EXPECT_EQ(none.wait(start), milliseconds(0));
}

}  // namespace
}  // namespace engine::delivery
