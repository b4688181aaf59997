// Readings against what is predicted for the patient, and the weight against an earlier one. All of
// it asks and none refuses: a prediction is no limit.

#include <functional>
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

// Computed at most once a document, and only when a reading needs it.
class Once {
 public:
  explicit Once(std::function<std::optional<Decimal>()> make) : make_(std::move(make)) {}
  const std::optional<Decimal>& get() {
    if (make_) {
      value_ = make_();
      make_ = nullptr;
    }
    return value_;
  }

 private:
  std::function<std::optional<Decimal>()> make_;
  std::optional<Decimal> value_;
};

// `predicted` in the row's unit of comparison.
void over_predicted(const Node* quantity, const Datum& datum, Once& predicted, Report& report) {
  const auto value = value_in(quantity, datum.compare_in);
  if (!value || !datum.over_predicted_percent || !predicted.get()) {
    return;
  }
  const Decimal& of = *predicted.get();
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

std::optional<Decimal> capacity_in_ml(const Node& session) {
  const auto capacity = capacity_for(session);
  return capacity ? Decimal::multiply(capacity->predicted, Decimal::from_int(1'000)) : std::nullopt;
}

void entries_over_predicted(const Node& session, const Node& entries,
                            const PlausibilityTable& table, Report& report) {
  const Datum* volume = table.find("inspired-volume");
  const Datum* distance = table.find("walk-distance");
  const Datum* flow = table.find("peak-flow");
  Once capacity([&session] { return capacity_in_ml(session); });
  Once metres([&session] { return walk_for(session); });
  Once litres([&session] { return peak_flow_for(session); });
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

void check_predicted(const Node& session, const PlausibilityTable& table, Report& report) {
  weight_change(session, table, report);
  if (const Node* entries = session.find("entry")) {
    entries_over_predicted(session, *entries, table, report);
  }
}

}  // namespace engine::therapy
