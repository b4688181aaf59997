#pragma once
// Intake, journal and delivery in one thread, under one seed: a virtual clock, a network that loses
// and delays, a disk that fails, a record server that misbehaves, an engine that dies. The store
// and the server outlive the engine.

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <queue>
#include <random>
#include <set>
#include <string>
#include <vector>

#include "engine/delivery/courier.h"
#include "engine/delivery/fitting_peer.h"
#include "engine/intake/intake.h"
#include "engine/journal/sqlite_store.h"
#include "tests/simulation/summing_core.h"

namespace simulation {

using std::chrono::milliseconds;

class Chance {
 public:
  explicit Chance(std::uint64_t seed) : engine_(seed) {}
  bool one_in(int n) { return n > 0 && below(n) == 0; }
  int below(int n) { return static_cast<int>(engine_() % static_cast<std::uint64_t>(n)); }
  std::uint64_t next() { return engine_(); }

 private:
  std::mt19937_64 engine_;
};

// Virtual time: events in order of time, then of arrival.
class Timeline final : public engine::base::Clock {
 public:
  std::chrono::system_clock::time_point now() const override {
    return std::chrono::system_clock::time_point(
        milliseconds(1'800'000'000'000 + civil_offset_ + now_));
  }
  std::chrono::steady_clock::time_point steady() const override {
    return std::chrono::steady_clock::time_point(milliseconds(now_));
  }
  void at(std::int64_t delay, std::function<void()> work) {
    events_.emplace(std::pair(now_ + delay, ++count_), std::move(work));
  }
  // False when nothing is left before the end.
  bool step(std::int64_t end) {
    if (events_.empty() || events_.begin()->first.first > end) {
      return false;
    }
    auto event = events_.extract(events_.begin());
    now_ = event.key().first;
    event.mapped()();
    return true;
  }
  std::int64_t milliseconds_now() const { return now_; }
  void set_civil_time(std::int64_t by) { civil_offset_ += by; }

 private:
  std::int64_t now_ = 0;
  std::int64_t civil_offset_ = 0;
  std::uint64_t count_ = 0;
  std::map<std::pair<std::int64_t, std::uint64_t>, std::function<void()>> events_;
};

struct Faults {
  int disk = 0;    // one in so many commits fails; 0: never
  int server = 0;  // one in so many requests meets a fault
  int crash = 0;   // one in so many sends is followed by a crash of the engine
  int clock = 0;   // one in so many sends is followed by a step of the civil clock
};

class Server;

// What dies together.
struct EngineLife {
  bool alive = true;
};

class World {
 public:
  World(std::uint64_t seed, Faults faults);
  ~World();
  // Sends `sessions` sessions of a few patients, with corrections, under faults; then without
  // faults until all is settled, a person releasing what is held. What is wrong afterwards, one
  // sentence each.
  std::vector<std::string> run(int sessions);
  // What happened, for telling whether the same seed does the same.
  const std::string& trace() const { return trace_; }

 private:
  struct Sent {
    std::string id;
    int revision;
    std::string patient;
    std::string body;
    bool acknowledged = false;
  };
  friend class SimulatedAppender;
  friend class SimulatedLoop;
  friend class SimulatedWorkers;
  friend class SimulatedPeer;
  friend class Server;

  void boot();
  void crash();
  void send(std::size_t index);
  void plan(int sessions);
  void release_held();
  void look_at(const engine::journal::Leg& leg);
  bool settled() const;
  void note(const std::string& what);
  std::vector<std::string> judge() const;
  void judge_order(std::vector<std::string>& out) const;

  Chance chance_;
  Faults faults_;
  Timeline time_;
  std::string trace_;
  std::unique_ptr<engine::journal::Store> store_;
  std::unique_ptr<Server> server_;
  std::unique_ptr<SummingCore> core_;
  bool others_write_ = false;
  engine::journal::SearchKey key_{"simulation"};
  std::vector<Sent> sent_;

  std::shared_ptr<EngineLife> life_;
  std::unique_ptr<engine::journal::Appender> appender_;
  std::unique_ptr<engine::delivery::Loop> loop_;
  std::unique_ptr<engine::delivery::FittingPeer> peer_;
  std::unique_ptr<engine::base::Random> random_;
  std::unique_ptr<engine::intake::Workers> workers_;
  std::unique_ptr<engine::intake::Intake> intake_;
  std::shared_ptr<engine::delivery::Courier> courier_;
};

}  // namespace simulation
