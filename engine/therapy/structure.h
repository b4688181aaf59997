#pragma once
// Reads a session document against the logical model: names, types, cardinalities, primitive
// values, bound codes, and each reading against the plausibility table's row. Fills in the system
// and code of quantities that came with a UCUM unit only, so that maps can copy them. Says
// everything it finds; the document is unreadable as a session when the report says refused().
// Source: FHIR R4 JSON; docs/session-document.md.

#include <string>

#include "engine/json/document.h"
#include "engine/therapy/plausibility.h"
#include "engine/therapy/report.h"
#include "engine/therapy/session_model.h"

namespace engine::therapy {

void read_structure(json::Document& document, const SessionModel& model,
                    const PlausibilityTable& table, Report& report);

// Of a document that takes the whole session back: takes out all but its header, and looks at the
// form of that alone. No value, of today's limits or of those of the day it was charted, may keep
// in a chart what should never have been there.
void read_taken_back(json::Document& document, const SessionModel& model, Report& report);

// Of a document that was taken in before, by the limits of its day: fills in what read_structure()
// fills in, and says nothing. Its root is an object.
void read_as_said(json::Document& document, const SessionModel& model);
// Why maps cannot be asked for one of its entries, since the model is another by now; "" when they
// can. Its values may be anything.
std::string fault_of_entry(json::Document& document, json::Node& entry, const SessionModel& model);

}  // namespace engine::therapy
