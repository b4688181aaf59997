#pragma once
// Tries changed maps for the HTTP interface, one wish at a time, on a thread of its own that gives
// way to the engine's. try_out.h does the work.

#include <atomic>
#include <functional>
#include <memory>
#include <set>
#include <string>
#include <utility>

#include "engine/base/seams.h"
#include "engine/cli/try_out.h"
#include "engine/intake/work_pool.h"

namespace engine::cli {

class TryOutDesk {
 public:
  struct World {
    const MappingSets& sets;
    const journal::Store& store;
    const base::Clock& clock;
    std::set<std::string> apart;  // targets with sets of their own
  };
  explicit TryOutDesk(World world) : world_(std::move(world)) {}
  web::TryOutControl control();
  // Ends what runs at its next document; what waits is not answered. False when something still
  // runs after that time: one document may take long, and then the process must end.
  bool stop(std::chrono::milliseconds time);

 private:
  using Told = std::function<void(base::Result<web::TryOutTold>)>;
  void ask(web::TryOutWish wish, Told told);
  base::Result<web::TryOutTold> run_guarded(const web::TryOutWish& wish);
  base::Result<web::TryOutTold> run(const web::TryOutWish& wish);

  const World world_;
  std::atomic<bool> stopping_{false};
  std::atomic<std::size_t> waiting_{0};
  std::shared_ptr<const TrialSet> last_;  // the worker's
  // Stands back, so that what is sent is translated first.
  static constexpr int kNice = 10;
  intake::WorkPool worker_{1, kNice};  // last: its thread uses all of the above
};

}  // namespace engine::cli
