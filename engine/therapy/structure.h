#pragma once
// Reads a session document against the logical model: names, types, cardinalities, primitive
// values, bound codes, and each reading against the plausibility table's row. Fills in the system
// and code of quantities that came with a UCUM unit only, so that maps can copy them. Says
// everything it finds; the document is unreadable as a session when the report says refused().
// Source: FHIR R4 JSON; docs/session-document.md.

#include "engine/json/document.h"
#include "engine/therapy/plausibility.h"
#include "engine/therapy/report.h"
#include "engine/therapy/session_model.h"

namespace engine::therapy {

void read_structure(json::Document& document, const SessionModel& model,
                    const PlausibilityTable& table, Report& report);

}  // namespace engine::therapy
