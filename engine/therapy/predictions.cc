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

std::optional<PredictedVolume> capacity_for(const Node& session) {
  const auto person = person_of(session);
  return person ? predicted_inspiratory_capacity(person->male, person->age, person->height)
                : std::nullopt;
}

std::optional<Decimal> walk_for(const Node& session) {
  const auto person = person_of(session);
  const auto weight = value_in(step(&session, {"patient", "weight"}), "kg");
  return person && weight ? predicted_walk(person->male, person->age, person->height, *weight)
                          : std::nullopt;
}

std::optional<Decimal> peak_flow_for(const Node& session) {
  const auto person = person_of(session);
  return person ? predicted_peak_flow(person->male, person->age, person->height) : std::nullopt;
}

}  // namespace engine::therapy
