#include "engine/delivery/notices.h"

#include <mutex>
#include <set>
#include <string>
#include <thread>
#include <vector>

#include <gtest/gtest.h>

#include "engine/delivery/http_peer.h"
#include "engine/journal/journal.h"
#include "engine/web/http_server.h"
#include "tests/delivery/still_world.h"

namespace engine::delivery {
namespace {

using journal::Kind;

class NoticesTest : public ::testing::Test {
 protected:
  void start() {
    notices_ = std::make_shared<Notices>(
        Notices::World{world_.appender, world_.peer, world_.loop, world_.clock, world_.random});
    ASSERT_TRUE(notices_
                    ->open([this](journal::Change change) {
                      return base::Result<journal::Outcome>(world_.write(std::move(change)));
                    })
                    .has_value());
  }
  void SetUp() override {
    world_.peer.answer = [this](const Call& call) {
      Reply reply = StillPeer::status(status_);
      if (status_ < 300) {
        told_.push_back(call.body);
      }
      return reply;
    };
  }
  // As the engine does it: four looks a second.
  void run(std::int64_t ms) {
    for (const std::int64_t end = world_.clock.ms + ms; world_.clock.ms < end;) {
      if (notices_) {
        notices_->look();
      }
      world_.loop.run_until(world_.clock.ms + 250);
    }
  }
  journal::Position happen(Kind kind, const std::string& session, std::uint32_t revision = 1,
                           const std::string& reason = "") {
    journal::Record record;
    record.kind = kind;
    record.session = session;
    record.revision = revision;
    record.target = "main";
    record.patient = "p-" + session;
    record.reason = reason;
    return world_.write(journal::Change(record)).position;
  }

  StillWorld world_;
  std::shared_ptr<Notices> notices_;
  std::vector<std::string> told_;
  int status_ = 204;
};

TEST_F(NoticesTest, TellsOutcomesInOrderByIdsAndCodes) {
  start();
  world_.add("a");
  world_.add("b");
  happen(Kind::kDispatched, "a");
  happen(Kind::kLanded, "a");
  happen(Kind::kHeld, "b", 1, "unknown-patient");
  happen(Kind::kWithdrawn, "b");
  run(1'000);
  const std::vector<std::string> expected = {
      R"({"event":7,"time":"2027-01-15T08:00:00.000Z","session":"a","revision":1,)"
      R"("target":"main","state":"landed"})",
      R"({"event":8,"time":"2027-01-15T08:00:00.000Z","session":"b","revision":1,)"
      R"("target":"main","state":"held","reason":"unknown-patient"})",
      R"({"event":9,"time":"2027-01-15T08:00:00.000Z","session":"b","revision":1,)"
      R"("target":"main","state":"withdrawn"})",
  };
  EXPECT_EQ(told_, expected);
}

TEST_F(NoticesTest, BeginsWithWhatComesAfterItWasFirstSetUp) {
  world_.add("old");
  happen(Kind::kLanded, "old");
  start();
  world_.add("new");
  happen(Kind::kLanded, "new");
  run(1'000);
  ASSERT_EQ(told_.size(), 1U);
  EXPECT_NE(told_[0].find(R"("session":"new")"), std::string::npos);
}

TEST_F(NoticesTest, TriesUntilTheReceiverTakesIt) {
  start();
  world_.add("a");
  happen(Kind::kLanded, "a");
  happen(Kind::kLanded, "a");
  for (const int status : {500, 302, 400, 404, 503}) {
    status_ = status;
    run(2'000);
    EXPECT_TRUE(told_.empty()) << status;
    EXPECT_GT(notices_->failures(), 0U);
  }
  status_ = 200;
  run(2'000);
  ASSERT_EQ(told_.size(), 2U);
  EXPECT_LT(told_[0].find("\"event\":4"), told_[0].size());
  EXPECT_LT(told_[1].find("\"event\":5"), told_[1].size());
  EXPECT_EQ(notices_->failures(), 0U);
}

TEST_F(NoticesTest, WaitsAsLongAsTheReceiverAsks) {
  start();
  world_.peer.answer = [](const Call&) {
    Reply reply = StillPeer::status(429);
    reply.headers.emplace_back("Retry-After", "60");
    return reply;
  };
  world_.add("a");
  happen(Kind::kLanded, "a");
  run(59'000);
  EXPECT_EQ(world_.peer.asked.size(), 1U);
  run(3'000);
  EXPECT_EQ(world_.peer.asked.size(), 2U);
}

TEST_F(NoticesTest, ACrashLosesNoneAndRepeatsALittle) {
  start();
  std::set<journal::Position> happened;
  for (int round = 0; round < 40; ++round) {
    const std::string session = "s" + std::to_string(round);
    world_.add(session);
    happened.insert(happen(Kind::kLanded, session));
    status_ = round % 5 == 3 ? 500 : 204;
    run(1'500);
    if (round % 9 == 8) {
      notices_.reset();  // nothing is written down any more
      world_.loop.run_until(world_.clock.ms + 100);
      start();
    }
  }
  status_ = 204;
  run(60'000);
  std::set<journal::Position> told;
  for (const std::string& body : told_) {
    told.insert(std::stoull(body.substr(body.find(':') + 1)));
  }
  EXPECT_EQ(told, happened);
  EXPECT_GT(told_.size(), happened.size()) << "no crash fell between a notice and its note";
  EXPECT_LT(told_.size(), 2 * happened.size());
}

TEST_F(NoticesTest, AnEndInGoodOrderRepeatsNothing) {
  start();
  world_.add("a");
  happen(Kind::kLanded, "a");
  run(500);
  bool ended = false;
  notices_->stop([&ended] { ended = true; });
  world_.loop.run_until(world_.clock.ms + 10);
  EXPECT_TRUE(ended);
  start();
  run(5'000);
  EXPECT_EQ(told_.size(), 1U);
}

TEST_F(NoticesTest, AnEndWaitsForTheAnswerThatIsUnderWay) {
  start();
  world_.add("a");
  happen(Kind::kLanded, "a");
  world_.peer.takes_ms = 3'000;
  notices_->look();
  bool ended = false;
  notices_->stop([&ended] { ended = true; });
  world_.loop.run_until(world_.clock.ms + 2'999);
  EXPECT_FALSE(ended);
  world_.loop.run_until(world_.clock.ms + 1);
  EXPECT_TRUE(ended);
  world_.peer.takes_ms = 5;
  start();
  run(5'000);
  EXPECT_EQ(told_.size(), 1U);
}

TEST_F(NoticesTest, ItsOwnRecordsGiveItNothingToDo) {
  start();
  world_.add("a");
  happen(Kind::kLanded, "a");
  run(15'000);
  EXPECT_EQ(world_.count(Kind::kNoticed), 2U) << "the first one, and one after the notice";
  const journal::Position before = *world_.store->size();
  run(120'000);
  EXPECT_EQ(*world_.store->size(), before);
}

TEST_F(NoticesTest, ADiskThatFailsOnlyRepeats) {
  start();
  world_.add("a");
  happen(Kind::kLanded, "a");
  world_.appender.failing = true;
  run(25'000);
  world_.appender.failing = false;
  world_.appender.full = true;
  run(25'000);
  world_.appender.full = false;
  run(25'000);
  EXPECT_EQ(told_.size(), 1U);
  EXPECT_EQ(world_.count(Kind::kNoticed), 2U);
}

// Two engines of one journal: the one whose turn it is tells, and the other goes on from there.
TEST_F(NoticesTest, OneOfSeveralEnginesTells) {
  std::size_t whose = 0;
  std::vector<std::shared_ptr<Notices>> both;
  for (const std::size_t number : {0U, 1U}) {
    both.push_back(std::make_shared<Notices>(
        Notices::World{world_.appender, world_.peer, world_.loop, world_.clock, world_.random,
                       [&whose, number] { return whose == number; }}));
    ASSERT_TRUE(both.back()
                    ->open([this](journal::Change change) {
                      return base::Result<journal::Outcome>(world_.write(std::move(change)));
                    })
                    .has_value());
  }
  const auto run_both = [&](int looks) {
    for (int i = 0; i < looks; ++i) {
      both[0]->look();
      both[1]->look();
      world_.loop.run_until(world_.clock.ms + 250);
    }
  };
  for (int turn = 0; turn < 6; ++turn) {
    const std::string session = "s" + std::to_string(turn);
    world_.add(session);
    happen(Kind::kLanded, session);
    run_both(8);
    whose = 2;  // nobody's: what came is written down before another begins
    run_both(2);
    whose = static_cast<std::size_t>(turn + 1) % 2;
  }
  ASSERT_EQ(told_.size(), 6U) << "none twice, as each wrote down how far it came";
  for (std::size_t turn = 0; turn < told_.size(); ++turn) {
    EXPECT_NE(told_[turn].find("\"session\":\"s" + std::to_string(turn)), std::string::npos);
  }
}

// A refused revision behind which a later one waits is superseded, not held.
TEST_F(NoticesTest, TellsTheStateThatAPersonWouldSee) {
  start();
  world_.add("a");
  journal::Record later;
  later.kind = Kind::kAccepted;
  later.session = "a";
  later.revision = 2;
  later.targets = "main";
  later.content = "c2";
  world_.write(journal::Change(later));
  happen(Kind::kDispatched, "a");
  happen(Kind::kHeld, "a", 1, "refused");
  run(500);
  ASSERT_EQ(told_.size(), 1U);
  EXPECT_NE(told_[0].find(R"("state":"superseded","reason":"refused")"), std::string::npos)
      << told_[0];
}

// A receiver on a real socket, away and back: on the same port.
class Receiver {
 public:
  void start(std::uint16_t port = 0) {
    web::HttpServer::Config config;
    config.port = port;
    auto started = web::HttpServer::start(
        config, web::answering([this](const web::Request& it) {
          const std::lock_guard lock(mutex_);
          got_.push_back(it.method + " " + it.target + " " +
                         std::string(it.header("content-type")) + " " +
                         std::string(it.header("authorization")) + " " + it.body);
          return web::Response(204, "", "");
        }));
    ASSERT_TRUE(started.has_value());
    server_ = std::move(*started);
  }
  void stop() { server_.reset(); }
  std::uint16_t port() const { return server_->port(); }
  std::vector<std::string> got() const {
    const std::lock_guard lock(mutex_);
    return got_;
  }

 private:
  mutable std::mutex mutex_;
  std::vector<std::string> got_;
  std::unique_ptr<web::HttpServer> server_;
};

TEST(NoticesOverHttp, AReceiverThatWasAwayGetsAll) {
  Receiver receiver;
  receiver.start();
  const std::uint16_t port = receiver.port();
  StillWorld still;  // its store and random only
  journal::Journal journal(*still.store, still.clock);
  AsioLoop loop;
  PeerConfig config(*parse_base_url("http://127.0.0.1:" + std::to_string(port) + "/outcomes"));
  config.media_type = "application/json";
  config.authorization = "Bearer token";
  auto peer = std::move(*make_http_peer(loop, std::move(config)));
  const auto notices =
      std::make_shared<Notices>(Notices::World{journal, *peer, loop, still.clock, still.random});
  ASSERT_TRUE(
      notices->open([&](journal::Change change) { return journal.write(change); }).has_value());
  const auto land = [&](const std::string& session) {
    journal::Record record;
    record.kind = Kind::kLanded;
    record.session = session;
    record.revision = 1;
    record.target = "main";
    ASSERT_TRUE(journal.write(journal::Change(record)).has_value());
  };
  const auto wait_for = [&](std::size_t count) {
    for (int i = 0; i < 2'000 && receiver.got().size() < count; ++i) {
      loop.post([&] { notices->look(); });
      std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
    return receiver.got().size();
  };
  land("a");
  EXPECT_EQ(wait_for(1), 1U);
  EXPECT_EQ(receiver.got()[0],
            "POST /outcomes application/json Bearer token "
            R"({"event":2,"time":"2027-01-15T08:00:00.000Z","session":"a","revision":1,)"
            R"("target":"main","state":"landed"})");
  receiver.stop();
  land("b");
  land("c");
  for (int i = 0; i < 20; ++i) {
    loop.post([&] { notices->look(); });
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  receiver.start(port);
  EXPECT_EQ(wait_for(3), 3U);
  EXPECT_NE(receiver.got()[1].find("\"session\":\"b\""), std::string::npos);
  EXPECT_NE(receiver.got()[2].find("\"session\":\"c\""), std::string::npos);
  loop.stop();
  journal.stop();
}

}  // namespace
}  // namespace engine::delivery
