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

// Each is computed when it is first asked for, and once: some take longer than all other findings
// of a session together. The document must outlive it and keep its patient and period. Not thread
// safe.
class Predictions {
 public:
  explicit Predictions(const json::Node& session) : session_(&session) {}

  // Inspiratory capacity in litres (predicted_inspiratory_capacity()).
  const std::optional<PredictedVolume>& capacity();
  // Six-minute walk distance in metres (predicted_walk()).
  const std::optional<base::Decimal>& walk();
  // Peak expiratory flow in L/min (predicted_peak_flow()).
  const std::optional<base::Decimal>& peak_flow();

 private:
  const json::Node* session_;
  std::optional<std::optional<PredictedVolume>> capacity_;  // outer: asked for already
  std::optional<std::optional<base::Decimal>> walk_;
  std::optional<std::optional<base::Decimal>> peak_flow_;
};

}  // namespace engine::therapy
