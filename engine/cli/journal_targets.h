#pragma once
// journal targets, pause, resume: by way of the journal, so that it works beside a running engine,
// which follows within a second, and before the next one starts.

#include <string>

#include "engine/delivery/pauses.h"
#include "engine/journal/store.h"

namespace engine::cli {

// That an engine on this journal was ever configured with a target of that name, or that there is
// a record of one. Errors: kNotFound, naming those that there are.
base::Result<void> check_target(const journal::Store& store, const std::string& name);
// Prints a line a target. Returns the exit status.
int list_targets(const journal::Store& store, bool as_json);
// Writes the record. Errors: those of delivery::pause_change(); the targets are those that the last
// engine to start was configured with.
base::Result<journal::Outcome> steer_target(journal::Store& store, const delivery::PauseWish& wish);
// How many are just being sent there, for a sentence: " (3 now)", or "".
std::string on_its_way(const journal::Store& store, const std::string& target);

}  // namespace engine::cli
