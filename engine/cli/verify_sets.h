#pragma once
// replay::verify() of all that a journal holds: what was made with the set at hand by that, the
// rest with the sets that engines kept beside the journal.

#include <cstddef>
#include <functional>
#include <string>

#include "engine/base/result.h"
#include "engine/replay/replay.h"

namespace engine::cli {

struct KeptVerify {
  std::string folder;  // KeptSets::folder_of()
  replay::Range range;
  std::size_t threads = 1;
  replay::OnProgress progress = [](const replay::Progress&) { return true; };
  // Why a set that is needed cannot be used; what was made with it stays among `other_sets`.
  std::function<void(const base::Error&)> unusable = [](const base::Error&) {};
};
// Errors: as replay::verify().
base::Result<replay::VerifyReport> verify_with_kept_sets(const journal::Store& store,
                                                         const intake::SessionCore& core,
                                                         const KeptVerify& wish);

}  // namespace engine::cli
