// What a courier sends next when several engines send, and when held ones come due again.

#include "engine/delivery/courier.h"

#include <string>
#include <utility>

#include <gtest/gtest.h>

#include "tests/delivery/still_world.h"
#include "tests/journal/growing_store.h"

namespace engine::delivery {
namespace {

class CourierTest : public ::testing::Test {
 protected:
  void start() {
    world_.appender.wrote = [this](const auto& outcomes) { tries_ += outcomes.size(); };
    courier_ = world_.courier();
    courier_->wake();
  }
  void run(std::int64_t ms) { world_.loop.run_until(world_.clock.ms + ms); }
  void write(journal::Kind kind, const std::string& session, std::int64_t due_ms = 0) {
    journal::Record record;
    record.kind = kind;
    record.session = session;
    record.revision = 1;
    record.target = "main";
    record.due_ms = due_ms;
    world_.write(journal::Change(record));
  }

  StillWorld world_;
  std::shared_ptr<Courier> courier_;
  std::size_t tries_ = 0;  // changes that the journal was asked to write
};

// Another engine has the patient's later session on its way; the earlier one is due again.
TEST_F(CourierTest, DoesNotTryWhatMayNotGoYet) {
  world_.add("early", "main", "p");
  write(journal::Kind::kHeld, "early", 1);
  world_.add("late", "main", "p");
  write(journal::Kind::kDispatched, "late");
  start();
  run(10'000);
  EXPECT_EQ(tries_, 0u);
  EXPECT_TRUE(world_.peer.asked.empty());
  write(journal::Kind::kLanded, "late");
  run(1'000);
  EXPECT_EQ(world_.peer.asked.size(), 1u);
}

// A journal that an index is missing of, or a database that is away.
class BlindStore final : public journal::GrowingStore {
 public:
  using GrowingStore::GrowingStore;
  base::Result<std::vector<journal::Leg>> due(std::string_view target, std::int64_t now_ms,
                                              std::size_t limit) const override {
    return blind ? base::Error(base::ErrorCode::kIo, "no such index: leg_due")
                 : GrowingStore::due(target, now_ms, limit);
  }
  bool blind = true;
};

TEST_F(CourierTest, TellsWhenTheJournalDoesNotSayWhatIsDue) {
  BlindStore store(*world_.store, {});
  StillAppender appender(store, world_.loop, world_.clock);
  std::string told;
  const auto looked = [&](const base::Error* why) { told = why != nullptr ? why->detail : "well"; };
  courier_ = std::make_shared<Courier>(
      "main", Courier::World{appender, world_.peer, world_.loop, world_.clock, world_.random,
                             [] { return true; }, looked});
  world_.add("a");
  courier_->wake();
  run(10'000);
  EXPECT_EQ(told, "no such index: leg_due");
  EXPECT_TRUE(world_.peer.asked.empty());
  store.blind = false;
  run(10'000);
  EXPECT_EQ(told, "well");
  EXPECT_EQ(world_.peer.asked.size(), 1u);
}

// The bodies are sealed under a master key that this engine was not given.
class ShutStore final : public journal::GrowingStore {
 public:
  using GrowingStore::GrowingStore;
  base::Result<std::string> master() const override { return shut ? "another" : std::string(); }
  base::Result<std::string> part(journal::Position position, std::string_view name) const override {
    return shut ? base::Error(base::ErrorCode::kUnsupported, "it is sealed")
                : GrowingStore::part(position, name);
  }
  bool shut = true;
};

TEST_F(CourierTest, HoldsNothingForWantOfAKey) {
  ShutStore store(*world_.store, {});
  StillAppender appender(store, world_.loop, world_.clock);
  courier_ = std::make_shared<Courier>(
      "main", Courier::World{appender, world_.peer, world_.loop, world_.clock, world_.random});
  world_.add("a");
  courier_->wake();
  run(10'000);
  EXPECT_EQ(world_.store->legs("a")->front().state, journal::LegState::kChecked);
  EXPECT_EQ(world_.store->legs("a")->front().attempts, 5u) << "it is tried less and less";
  EXPECT_TRUE(world_.peer.asked.empty());
  store.shut = false;  // as for another engine
  run(60'000);
  EXPECT_EQ(world_.store->legs("a")->front().state, journal::LegState::kLanded);
}

// More of them than a look brings.
TEST_F(CourierTest, WhatIsDueOfOnePatientDoesNotTakeAllPlaces) {
  for (int i = 0; i < 20; ++i) {
    const std::string session = "held-" + std::to_string(i);
    world_.add(session, "main", "p");
    write(journal::Kind::kHeld, session, 1);
  }
  world_.add("other");
  world_.peer.takes_ms = 10'000;
  start();
  run(100);
  EXPECT_EQ(world_.peer.in_flight, 2);
}

// They stand before a later one of theirs that is on its way.
TEST_F(CourierTest, ManyHeldOnesOfAPatientKeepNoOtherPatientWaiting) {
  const std::int64_t soon = 1'800'000'000'000 + 100;
  for (int i = 0; i < 20; ++i) {
    const std::string session = "held-" + std::to_string(i);
    world_.add(session, "main", "p");
    write(journal::Kind::kHeld, session, soon);
  }
  world_.add("late", "main", "p");
  world_.peer.takes_ms = 10'000;
  start();
  run(50);
  ASSERT_EQ(world_.peer.in_flight, 1);
  run(100);
  world_.add("other");
  courier_->wake();
  run(100);
  EXPECT_EQ(world_.peer.in_flight, 2);
  run(400'000);
  EXPECT_EQ(world_.count(journal::Kind::kLanded), 22u);
  EXPECT_EQ(world_.peer.most_in_flight, 2);
}

// The first message meets `first` and all questions `probe`; a message sent after that lands.
struct Probed {
  int first;
  int probe;
  std::size_t messages;
};
class ProbeTest : public CourierTest, public ::testing::WithParamInterface<Probed> {};

TEST_P(ProbeTest, SendsAgainWhenSomebodyIsThere) {
  bool met = false;
  world_.peer.answer = [&met](const Call& call) {
    if (call.method == "GET") {
      return StillPeer::status(GetParam().probe);
    }
    return std::exchange(met, true) ? StillPeer::landed(call) : StillPeer::status(GetParam().first);
  };
  world_.add("a");
  start();
  run(300'000);
  std::size_t messages = 0;
  for (const auto& [when, method] : world_.peer.asked) {
    messages += method == "POST" ? 1U : 0U;
  }
  EXPECT_EQ(messages, GetParam().messages);
}

// A server need not have /metadata, and may keep it from this sender.
INSTANTIATE_TEST_SUITE_P(There, ProbeTest,
                         ::testing::Values(Probed{503, 200, 2}, Probed{503, 401, 2},
                                           Probed{503, 403, 2}, Probed{503, 404, 2},
                                           Probed{503, 405, 2}, Probed{500, 404, 2},
                                           Probed{401, 404, 2}, Probed{404, 401, 2}));
// Away, busy, or as it was when it answered the message.
INSTANTIATE_TEST_SUITE_P(NotThere, ProbeTest,
                         ::testing::Values(Probed{404, 404, 1}, Probed{401, 401, 1},
                                           Probed{503, 503, 1}, Probed{503, 429, 1}));

}  // namespace
}  // namespace engine::delivery
