#pragma once
// The notices of outcomes as the site configured them, beside a running engine: their receiver,
// their figures in the metrics, and a line in the log when the receiver stops or begins to take
// them.

#include <functional>
#include <memory>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/cli/serve_config.h"
#include "engine/delivery/asio_loop.h"
#include "engine/delivery/notices.h"
#include "engine/journal/journal.h"
#include "engine/web/metrics.h"

namespace engine::cli {

class OutcomeNotices {
 public:
  struct World {
    journal::Journal& journal;
    delivery::AsioLoop& loop;
    const base::Clock& clock;
    base::Random& random;
    web::Metrics& metrics;
  };
  // Errors: of the receiver's address, certificates and sign-in; of the journal.
  static base::Result<std::unique_ptr<OutcomeNotices>> open(const TargetConfig& receiver,
                                                            World world);
  // On the loop, now and then.
  void look();
  // Tells no more. `done` runs when how far it came is durable or has failed.
  void stop(std::function<void()> done) { notices_->stop(std::move(done)); }

 private:
  explicit OutcomeNotices(World world) : world_(world) {}

  World world_;
  std::unique_ptr<delivery::Peer> peer_;
  std::shared_ptr<delivery::Notices> notices_;
  bool failing_ = false;
};

}  // namespace engine::cli
