#include "engine/cli/outcome_notices.h"

#include <string>
#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/engine_parts.h"
#include "engine/cli/target_peer.h"
#include "engine/delivery/http_peer.h"

namespace engine::cli {

base::Result<std::unique_ptr<OutcomeNotices>> OutcomeNotices::open(const TargetConfig& receiver,
                                                                   World world) {
  auto config = peer_config_of(receiver);
  if (!config) {
    return std::move(config).error();
  }
  config->media_type = "application/json";
  config->answer_timeout = base::limits::kNoticeTimeout;
  auto peer = delivery::make_http_peer(world.loop, std::move(*config));
  if (!peer) {
    return std::move(peer).error();
  }
  std::unique_ptr<OutcomeNotices> out(new OutcomeNotices(world));
  out->peer_ = std::move(*peer);
  out->notices_ = std::make_shared<delivery::Notices>(delivery::Notices::World{
      world.journal, *out->peer_, world.loop, world.clock, world.random,
      [store = &world.journal.store()] { return store->mine("notices"); }});
  auto opened = out->notices_->open(
      [&world](journal::Change change) { return world.journal.write(std::move(change)); });
  if (!opened) {
    return std::move(opened).error();
  }
  return out;
}

void OutcomeNotices::look() {
  notices_->look();
  const std::uint32_t failures = notices_->failures();
  if (const auto size = world_.journal.store().size()) {
    // Another engine of the journal tells them: it has the figure.
    world_.metrics.noticed(notices_->in_turn() ? *size - notices_->through() : 0, failures);
  }
  if ((failures > 0) != failing_) {
    failing_ = failures > 0;
    say(failing_ ? "notices-failing" : "notices-taken",
        "through=" + std::to_string(notices_->through()));
  }
}

}  // namespace engine::cli
