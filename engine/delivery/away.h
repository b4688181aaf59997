#pragma once
// Targets that the configuration does not name, or did not name for a while. What waits for one
// stays, and is told of; revisions that came meanwhile have no leg for it. When it is named again,
// each session of which it has an earlier revision gets those that stand elsewhere, in their order,
// so that no state stays there, or lands there late, that was corrected since.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/journal/store.h"

namespace engine::delivery {

// Those that the last engine to start was configured with. Errors: of the store.
base::Result<std::vector<std::string>> last_configured(const journal::Store& store);

struct GoneTarget {
  std::string name;
  std::uint64_t waiting = 0;  // accepted, checked or on their way
  std::uint64_t held = 0;
};
// What has not ended for targets that are not `configured`, by name.
std::vector<GoneTarget> gone_targets(const std::vector<journal::Store::Count>& counts,
                                     const std::vector<std::string>& configured);

// The first start that did not name the target, since the last one that did; nullopt when there is
// none. Before this engine's own start is written. Of a journal that engines share, starts of the
// last limits::kRollingRestart are gone past: others may have taken in without the target until
// then. Errors: of the store.
base::Result<std::optional<journal::Position>> away_since(const journal::Store& store,
                                                          std::string_view target,
                                                          const base::Clock& clock);

// Writes an also-for record for each session that has one coming, among what was accepted after
// `since`. How many were written. To be called while nobody else of this process writes. Doing it
// again does nothing more. Errors: of the store; what was written until then stays.
base::Result<std::size_t> catch_up(journal::Store& store, const base::Clock& clock,
                                   const std::string& target, journal::Position since,
                                   const std::string& actor);

}  // namespace engine::delivery
