#pragma once
// What a record server answers when it is asked what it can do, and that for a running engine.

#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/cli/serve_config.h"
#include "engine/delivery/preflight.h"

namespace engine::cli {

// Asks with two reads and waits for the answers. Errors: kPeer when there is no record server to be
// judged.
base::Result<std::vector<delivery::Ability>> ask_abilities(const TargetConfig& target);

const char* word_of(delivery::Ability::Grade grade);
std::size_t needed_of(const std::vector<delivery::Ability>& rows);
// {"target","ready","abilities":[{"name","grade","found","consequence"}]}; `target` is `name`.
std::string report_of(const std::string& name, const std::vector<delivery::Ability>& rows);

}  // namespace engine::cli
