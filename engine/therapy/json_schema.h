#pragma once
// The JSON Schema (draft 2020-12) of the session document, generated from the logical model, so
// that there is one truth. Bounds come from the plausibility table's impossible grade.

#include <string>
#include <string_view>

#include "engine/therapy/plausibility.h"
#include "engine/therapy/session_model.h"

namespace engine::therapy {

// logical_model: the StructureDefinition as JSON, for the texts of its elements.
std::string make_json_schema(const SessionModel& model, const PlausibilityTable& table,
                             std::string_view logical_model);

}  // namespace engine::therapy
