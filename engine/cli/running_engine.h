#pragma once
// The engine at work: journal, intake, delivery and the HTTP edge wired together, ended in good
// order on SIGTERM or SIGINT: no new sessions, running requests answered, what is on its way
// written down.

#include "engine/base/result.h"
#include "engine/cli/serve_config.h"

namespace engine::cli {

// Runs until it is told to end. Errors: what kept it from starting. Takes the signals of the whole
// process; called before any thread begins.
base::Result<void> run_engine(ServeConfig config);

}  // namespace engine::cli
