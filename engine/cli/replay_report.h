#pragma once
// Whether every bundle in the journal can be made again, told as JSON.

#include <string>

#include "engine/base/result.h"
#include "engine/replay/replay.h"

namespace engine::cli {

// {"translations","same","destroyed","otherSets":{what: count},"faults":[{"position","session",
// "revision","target","what"}]}, on one thread. `folder`: KeptSets::folder_of(). Errors: of
// replay::verify().
base::Result<std::string> replay_report(const journal::Store& store,
                                        const intake::SessionCore& core, const std::string& folder,
                                        const replay::Range& range);

}  // namespace engine::cli
