#pragma once
// The master keys of the journal's bodies, as programs are given them.

#include <memory>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/seal.h"

namespace engine::cli {

// What a store opens and seals with; null for no files. Errors: those of MasterKeys::load().
base::Result<std::shared_ptr<const journal::Sealing>> sealing_of(
    const std::vector<std::string>& files);

}  // namespace engine::cli
