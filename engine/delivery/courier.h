#pragma once
// Carries what is checked to one target: a bounded number of requests at a time, one a patient,
// strictly in order within a session. Every step is durable before the next one:
// dispatched before the request goes out, the outcome before the next of that patient. The journal
// is the only state that matters: a courier can end anywhere and another begin, because sending the
// stored bytes again is always safe. Lives on its loop; only wake() and stop() may be called from
// elsewhere.

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <utility>

#include "engine/base/limits.h"
#include "engine/base/seams.h"
#include "engine/delivery/exchange.h"
#include "engine/delivery/pace.h"
#include "engine/delivery/peer.h"
#include "engine/delivery/pieces.h"
#include "engine/delivery/verdict.h"
#include "engine/journal/journal.h"

namespace engine::delivery {

// What a site lets a target have.
struct CourierLimits {
  std::size_t in_flight_max = base::limits::kInFlightMax;
  double requests_per_second = 0;  // 0: no limit
};

class Courier : public std::enable_shared_from_this<Courier> {
 public:
  struct World {
    journal::Appender& journal;
    Peer& peer;
    Loop& loop;
    const base::Clock& clock;
    base::Random& random;
    // Whether a request may begin. Otherwise another engine may be about to take over what is sent.
    std::function<bool()> may_send = [] { return true; };
    // After each look for what is to be sent: why the journal did not say it; nullptr when it did.
    std::function<void(const base::Error* why)> looked = [](const base::Error*) {};
  };
  struct Health {
    bool paused = false;
    std::string reason;
    std::uint32_t tries = 0;  // since the target last answered well
  };

  Courier(std::string target, World world, CourierLimits limits = {});

  // Looks for work now; call it when something was checked. Before the first call nothing is sent.
  void wake();
  // Sends nothing more. `idle` runs on the loop when what is under way has been written down.
  void stop(std::function<void()> idle);

  // On the loop, or before the first wake: while it is shut nothing is dispatched and nothing
  // asked; what is under way ends as it does.
  void set_shut(bool shut);

  const std::string& target() const { return target_; }
  // On the loop.
  Health health() const { return health_; }
  std::size_t in_flight() const { return legs_.size(); }

 private:
  using Key = std::pair<std::string, std::uint32_t>;  // session, revision

  void pump();
  void arm();
  void look_again(std::chrono::milliseconds delay);
  void probe();
  void get_to_know();
  void dispatch(journal::Leg leg);
  void send(journal::Leg leg);
  void concluded(journal::Leg leg, Conclusion conclusion);
  journal::Record outcome_of(const journal::Leg& leg, const Verdict& verdict, int status);
  void write(journal::Leg leg, journal::Change change);
  void finished(const journal::Leg& leg);
  void put_back(const journal::Leg& leg);
  void not_now(const journal::Leg& leg);
  void look_past();
  void failed();
  void pause(const std::string& reason, std::chrono::milliseconds at_least);
  // Civil time at the beginning and what has passed since: waiting times must not depend on
  // somebody setting the machine's clock. A start makes everything due, so that due times of an
  // earlier run do not matter.
  std::int64_t now_ms() const;
  std::int64_t civil_ms() const;
  // Calls back on the loop, and not when the courier has gone.
  std::function<void()> later(std::function<void(Courier&)> work);

  const std::string target_;
  World world_;
  const CourierLimits limits_;
  const std::int64_t start_civil_ms_;
  const std::chrono::steady_clock::time_point start_steady_;
  std::set<Key> legs_;         // under way
  std::size_t undecided_ = 0;  // of these, whose dispatch is not written yet
  std::set<std::string> patients_;
  std::optional<base::Error> unread_;  // why the last look failed
  bool passed_over_ = false;  // the last looks brought legs of patients that have one under way
  Health health_;
  std::int64_t paused_until_ms_ = 0;
  bool probing_ = false;
  bool asked_ = false;  // how the target takes messages
  // Something the target did well since its last failure: only then does a failure blame the
  // message.
  bool evidence_ = false;
  SizeRefusals too_large_;
  Pace pace_;
  std::int64_t look_at_ms_ = 0;  // when the next timer looks; 0: none
  bool shut_ = false;
  bool stopping_ = false;
  std::function<void()> idle_;
};

}  // namespace engine::delivery
