#pragma once
// `replay --resend`: what landed, sent to another record server. Who has it sent, why, where to and
// of which patients is in the journal before anything leaves.

#include "engine/cli/noted_reads.h"
#include "engine/cli/serve_config.h"
#include "engine/journal/store.h"
#include "engine/replay/resend.h"

namespace engine::cli {

// Prints what was sent and gives the command's exit status.
int resend_journal(journal::Store& store, replay::ResendQuery query, const TargetConfig& server,
                   const Reader& reader, bool as_json, const replay::OnProgress& progress);

}  // namespace engine::cli
