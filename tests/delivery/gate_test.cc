// An engine that the others do not hear of sends nothing: they may be taking over from it.

#include <string>

#include <gtest/gtest.h>

#include "engine/delivery/gated_peer.h"
#include "tests/delivery/still_world.h"

namespace engine::delivery {
namespace {

// Lets a test keep hold of the server that a gate owns.
class Behind final : public Peer {
 public:
  explicit Behind(Peer& server) : server_(server) {}
  void call(Call call, std::function<void(Reply)> done) override {
    server_.call(std::move(call), std::move(done));
  }

 private:
  Peer& server_;
};

class GateTest : public ::testing::Test {
 protected:
  void start() {
    const auto may_send = [this] { return open_; };
    gate_ = make_gated_peer(std::make_unique<Behind>(world_.peer), world_.loop, may_send);
    courier_ =
        std::make_shared<Courier>("main", Courier::World{world_.appender, *gate_, world_.loop,
                                                         world_.clock, world_.random, may_send});
    courier_->wake();
  }
  void run(std::int64_t ms) { world_.loop.run_until(world_.clock.ms + ms); }

  StillWorld world_;
  bool open_ = true;
  std::unique_ptr<Peer> gate_;
  std::shared_ptr<Courier> courier_;
};

TEST_F(GateTest, NothingIsDispatchedOrAskedWhileItIsShut) {
  open_ = false;
  world_.add("a");
  start();
  run(120'000);
  EXPECT_EQ(world_.count(journal::Kind::kDispatched), 0U);
  EXPECT_TRUE(world_.peer.asked.empty());
  open_ = true;
  run(2'000);
  EXPECT_EQ(world_.count(journal::Kind::kLanded), 1U);
}

// It shuts between the record and the request: that is written down, of a fate that is known.
TEST_F(GateTest, WhatIsDispatchedWhenItShutsIsNotSentAndComesAgain) {
  start();
  world_.add("a");
  world_.appender.wrote = [this](const std::vector<journal::Outcome>& outcomes) {
    open_ = open_ && outcomes.front().record.kind != journal::Kind::kDispatched;
  };
  run(10'000);
  EXPECT_EQ(world_.count(journal::Kind::kDispatched), 1U);
  EXPECT_EQ(world_.count(journal::Kind::kAnswered), 1U);
  EXPECT_TRUE(world_.peer.asked.empty());
  EXPECT_FALSE(world_.store->legs("a")->front().uncertain);
  world_.appender.wrote = {};
  open_ = true;
  run(10'000);
  EXPECT_EQ(world_.count(journal::Kind::kLanded), 1U);
}

}  // namespace
}  // namespace engine::delivery
