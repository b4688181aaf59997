#pragma once
// The targets of a running engine as a person sees and steers them: pause, resume, how they do.
// A pause is in force before it is written, and written before it is confirmed: no dispatched
// record follows a paused one of its target until it is resumed. Pauses that another process writes
// are found by follow().

#include <functional>
#include <memory>
#include <mutex>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/delivery/courier.h"
#include "engine/delivery/pauses.h"
#include "engine/delivery/target_log.h"
#include "engine/journal/journal.h"

namespace engine::delivery {

class TargetDesk {
 public:
  // Of the configuration, as it is shown.
  struct Facts {
    std::string name;
    // On the loop: how sessions get there, "transaction", "batch" or "single".
    std::function<std::string_view()> mode;
    CourierLimits limits;
  };
  using Couriers = std::vector<std::shared_ptr<Courier>>;
  using Done = std::function<void(base::Result<journal::Outcome>)>;

  // All must outlive the desk.
  TargetDesk(journal::Appender& journal, Loop& loop) : journal_(journal), loop_(loop) {}

  // Before the couriers' first wake: what is paused stays so. `facts` in the couriers' order.
  // Errors: of the store.
  base::Result<void> open(std::vector<Facts> facts, Couriers couriers);
  // On the loop, now and then.
  void follow();
  // The journal lost what was followed.
  void read_again() { pauses_.read_again(); }

  // From any thread. `done` runs on any thread, once what it tells is durable. Errors: those of
  // pause_change(), and kIo, kLimit when it could not be written: then nothing has changed.
  void steer(PauseWish wish, Done done);
  // Of the configuration.
  const std::vector<std::string>& names() const { return names_; }
  // JSON, an array in the order of the configuration, then those that something waits for and that
  // are not in it. Errors: of the store.
  base::Result<std::string> view() const;
  struct Gauge {
    std::string name;
    bool waiting = false;  // the record server is away or busy
    bool paused = false;   // by a person
    std::size_t in_flight = 0;
    std::string_view mode = "transaction";
  };
  std::vector<Gauge> gauges() const;
  // The listener that the journal needs for it.
  void wrote(const std::vector<journal::Outcome>& outcomes) { log_.wrote(outcomes); }

 private:
  struct Seen {
    Courier::Health health;
    std::size_t in_flight = 0;
    std::string_view mode = "transaction";
  };
  void apply(std::size_t at);
  void begin(std::size_t at, journal::Change change, Done done);
  std::string view_of(std::size_t at, const std::vector<journal::Store::Count>& counts) const;
  void add_backlog(std::string& out, std::string_view target,
                   const std::vector<journal::Store::Count>& counts) const;

  journal::Appender& journal_;
  Loop& loop_;
  std::vector<Facts> facts_;
  std::vector<std::string> names_;
  Couriers couriers_;
  Pauses pauses_;
  TargetLog log_;
  std::multiset<std::size_t> under_way_;  // pauses that are not yet written; on the loop
  mutable std::mutex mutex_;              // of what follows
  std::vector<Seen> seen_;
};

}  // namespace engine::delivery
