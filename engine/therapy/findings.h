#pragma once
// What the therapist would compute by hand, computed: each finding is put into the source tree as
// finding[] (code, value, method, what it was derived from), and the map "finding" makes an
// Observation of each. Exact arithmetic; formulas and their published sources are in
// docs/findings.md. Thresholds and goals come from the order or the site, never from here.

#include "engine/json/document.h"
#include "engine/therapy/predictions.h"

namespace engine::therapy {

struct Workshop;

void add_findings(json::Document& document, const Workshop& shop, Predictions& predictions);

}  // namespace engine::therapy
