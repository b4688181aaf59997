#pragma once
// What must hold between the parts of a session document, after read_structure() found each part
// right by itself: identifiers, times, references between entries, contradictions. Impossible
// combinations are refused; contradictions and jumps ask for confirmation; what a reader should
// see is noted. Source: docs/session-document.md.

#include "engine/therapy/plausibility.h"
#include "engine/therapy/predictions.h"
#include "engine/therapy/report.h"
#include "engine/therapy/session_model.h"

namespace engine::therapy {

// Identifiers, people and the period alone.
void check_header(const json::Node& session, Report& report);
// Identity and frame: identifiers, revision, people, period, order, references by entry id.
void check_frame(const json::Node& session, Report& report);
// Each entry by itself and the entries among each other.
void check_entries(const json::Node& session, const SessionModel& model,
                   const PlausibilityTable& table, Report& report);
// Readings against what is predicted for the patient; the weight against earlier ones.
void check_predicted(const json::Node& session, const PlausibilityTable& table,
                     Predictions& predictions, Report& report);
// Readings against the order in force; shown, never held.
void note_limits(const json::Node& session, Report& report);

}  // namespace engine::therapy
