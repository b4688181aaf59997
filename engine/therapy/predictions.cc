#include "engine/therapy/predictions.h"

#include <string_view>

#include "engine/therapy/clock_text.h"
#include "engine/therapy/readings.h"
#include "engine/therapy/steps.h"

namespace engine::therapy {
namespace {

using base::Decimal;
using json::Node;

struct Person {
  bool male = false;
  int age = 0;
  Decimal height;  // cm
};

std::optional<Person> person_of(const Node& session) {
  const auto age = patient_age(session);
  const auto height = value_in(step(&session, {"patient", "height"}), "cm");
  const std::string_view sex = step_text(&session, {"patient", "sexForPrediction"});
  if (!age || !height || sex.empty()) {
    return std::nullopt;
  }
  return Person{sex == "male", *age, *height};
}

}  // namespace

std::optional<int> patient_age(const Node& session) {
  const auto start = parse_moment(step_text(&session, {"period", "start"}));
  return start ? age_at(step_text(&session, {"patient", "birthDate"}), *start) : std::nullopt;
}

const std::optional<PredictedVolume>& Predictions::capacity() {
  if (!capacity_) {
    const auto person = person_of(*session_);
    capacity_ = person ? predicted_inspiratory_capacity(person->male, person->age, person->height)
                       : std::nullopt;
  }
  return *capacity_;
}

const std::optional<Decimal>& Predictions::walk() {
  if (!walk_) {
    const auto person = person_of(*session_);
    const auto weight = value_in(step(session_, {"patient", "weight"}), "kg");
    walk_ = person && weight ? predicted_walk(person->male, person->age, person->height, *weight)
                             : std::nullopt;
  }
  return *walk_;
}

const std::optional<Decimal>& Predictions::peak_flow() {
  if (!peak_flow_) {
    const auto person = person_of(*session_);
    peak_flow_ =
        person ? predicted_peak_flow(person->male, person->age, person->height) : std::nullopt;
  }
  return *peak_flow_;
}

}  // namespace engine::therapy
