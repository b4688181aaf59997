#pragma once
// What is predicted for the patient of a session document, by age at its start, height, weight and
// the sex used for prediction. Without one of them that the formula needs, or outside the range
// that it was made for, there is no prediction rather than a wrong one.

#include <optional>

#include "engine/base/decimal.h"
#include "engine/json/node.h"
#include "engine/therapy/formulas.h"

namespace engine::therapy {

// Age in full years at the start of the session.
std::optional<int> patient_age(const json::Node& session);

// Inspiratory capacity in litres (predicted_inspiratory_capacity()).
std::optional<PredictedVolume> capacity_for(const json::Node& session);
// Six-minute walk distance in metres (predicted_walk()).
std::optional<base::Decimal> walk_for(const json::Node& session);
// Peak expiratory flow in L/min (predicted_peak_flow()).
std::optional<base::Decimal> peak_flow_for(const json::Node& session);

}  // namespace engine::therapy
