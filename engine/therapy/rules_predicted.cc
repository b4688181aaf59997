// Readings against what is predicted for the patient, and the weight against an earlier one. All of
// it asks and none refuses: a prediction is no limit.

#include <optional>
#include <string>

#include "engine/therapy/clock_text.h"
#include "engine/therapy/predictions.h"
#include "engine/therapy/readings.h"
#include "engine/therapy/rules.h"
#include "engine/therapy/steps.h"

namespace engine::therapy {
namespace {

using base::Decimal;
using json::Node;

// `predicted` gives it in the row's unit of comparison, and is asked only when there is a value.
template <class Predicted>
void over_predicted(const Node* quantity, const Datum& datum, Predicted predicted, Report& report) {
  const auto value = value_in(quantity, datum.compare_in);
  const std::optional<Decimal> known =
      value && datum.over_predicted_percent ? predicted() : std::nullopt;
  if (!known) {
    return;
  }
  const Decimal& of = *known;
  const auto percent = percent_of(*value, of);
  if (percent && *datum.over_predicted_percent < *percent) {
    ask(*quantity, datum.id,
        datum.display + " of " + value->to_string() + " " + datum.compare_in + " is " +
            percent->to_string() + " % of the " + of.to_string() + " " + datum.compare_in +
            " predicted for this patient; over " + datum.over_predicted_percent->to_string() +
            " % asks.",
        report);
  }
}

std::optional<Decimal> capacity_in_ml(Predictions& predictions) {
  const auto& capacity = predictions.capacity();
  return capacity ? Decimal::multiply(capacity->predicted, Decimal::from_int(1'000)) : std::nullopt;
}

void entries_over_predicted(const Node& entries, const PlausibilityTable& table,
                            Predictions& predictions, Report& report) {
  const Datum* volume = table.find("inspired-volume");
  const Datum* distance = table.find("walk-distance");
  const Datum* flow = table.find("peak-flow");
  const auto capacity = [&predictions] { return capacity_in_ml(predictions); };
  const auto metres = [&predictions] { return predictions.walk(); };
  const auto litres = [&predictions] { return predictions.peak_flow(); };
  for (const Node& entry : entries) {
    const Node* breaths = step(&entry, {"breathingExerciser", "repetition"});
    for (const Node* breath = breaths != nullptr ? breaths->first : nullptr;
         breath != nullptr && volume != nullptr; breath = breath->next) {
      over_predicted(breath->find("volume"), *volume, capacity, report);
    }
    const Node* test = step(&entry, {"walk", "sixMinuteTest"});
    if (test != nullptr && test->boolean && distance != nullptr) {
      over_predicted(step(&entry, {"walk", "distance"}), *distance, metres, report);
    }
    if (flow != nullptr) {
      over_predicted(step(&entry, {"peakFlow", "flow"}), *flow, litres, report);
    }
  }
}

// The patient's weight against each earlier one that lies near enough in time.
void weight_change(const Node& session, const PlausibilityTable& table, Report& report) {
  const Datum* datum = table.find("weight");
  const Node* weight = step(&session, {"patient", "weight"});
  const auto now = value_in(weight, "kg");
  const auto start = parse_moment(step_text(&session, {"period", "start"}));
  const Node* earlier = session.find("earlier");
  if (datum == nullptr || !datum->change_by_percent || !now || !start || earlier == nullptr) {
    return;
  }
  for (const Node& before : *earlier) {
    const auto then = value_in(before.find("weight"), "kg");
    const auto at = parse_moment(before.string_at("time"));
    const bool near = at && start->milliseconds - at->milliseconds <=
                                std::int64_t{datum->change_minutes} * kMinuteMs;
    const auto change = then && near ? Decimal::subtract(*now, *then) : std::nullopt;
    const auto percent = change ? percent_of(change->abs(), *then) : std::nullopt;
    if (percent && *datum->change_by_percent < *percent) {
      ask(*weight, datum->id,
          datum->display + " of " + now->to_string() + " kg after " + then->to_string() +
              " kg on " + std::string(before.string_at("time").substr(0, 10)) + " is a change of " +
              percent->to_string() + " %; over " + datum->change_by_percent->to_string() +
              " % within " + std::to_string(datum->change_minutes / 1'440) + " days asks.",
          report);
    }
  }
}

}  // namespace

void check_predicted(const Node& session, const PlausibilityTable& table, Predictions& predictions,
                     Report& report) {
  weight_change(session, table, report);
  if (const Node* entries = session.find("entry")) {
    entries_over_predicted(*entries, table, predictions, report);
  }
}

}  // namespace engine::therapy
