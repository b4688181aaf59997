#pragma once
// `journal reconcile`: is what landed still there and unchanged?

#include <string>

#include "engine/cli/serve_config.h"
#include "engine/journal/store.h"
#include "engine/replay/reconcile.h"

namespace engine::cli {

// Prints what it found and gives the command's exit status.
int reconcile_journal(const journal::Store& store, const replay::ReconcileQuery& query,
                      const TargetConfig& target, bool as_json);

}  // namespace engine::cli
