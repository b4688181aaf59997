#pragma once
// What a session document's texts may hold where it is taken in. Not asked of what lies in a
// journal already: that keeps making what it made. Source: FHIR R4 datatypes, string (no character
// below U+0020 but tab, line feed and carriage return); limits::kShortTextCharsMax.

#include "engine/json/node.h"
#include "engine/therapy/report.h"

namespace engine::therapy {

void check_texts(const json::Node& session, Report& report);

}  // namespace engine::therapy
