#pragma once
// `replay --resend`: what landed, sent to another record server.

#include "engine/cli/serve_config.h"
#include "engine/journal/store.h"
#include "engine/replay/resend.h"

namespace engine::cli {

// Prints what was sent and gives the command's exit status.
int resend_journal(const journal::Store& store, const replay::ResendQuery& query,
                   const TargetConfig& server, bool as_json, const replay::OnProgress& progress);

}  // namespace engine::cli
