// Breathing exerciser: best and mean volume, percent of goal, of predicted and of the pre-operative
// baseline, trend. An exerciser volume is an effort figure, no lung-function test.

#include <algorithm>

#include "engine/therapy/finding_writer.h"
#include "engine/therapy/formulas.h"
#include "engine/therapy/predictions.h"
#include "engine/therapy/readings.h"
#include "engine/therapy/steps.h"

namespace engine::therapy {
namespace {

using base::Decimal;
using json::Node;

struct Volumes {
  std::optional<Decimal> best;  // mL
  Decimal sum;
  std::int64_t count = 0;
  int scale = 0;    // most digits after the point among the readings
  bool all = true;  // the volume of every breath was read; a mean of the best ones is none
  bool final = true;
  std::vector<Input> from;
  Input best_from;
  std::optional<Decimal> goal;  // of the set that reached the best volume
};

Volumes collect(const Readings& readings) {
  Volumes volumes;
  for (const Node* entry : readings.entries) {
    const Node* set = entry->find("breathingExerciser");
    const Node* breaths = set != nullptr ? set->find("repetition") : nullptr;
    if (breaths == nullptr) {
      continue;
    }
    const Input input{entry->string_at("id"), "exerciser-set"};
    volumes.from.push_back(input);
    volumes.final = volumes.final && is_final(*entry);
    const Node* said = set->find("breaths");
    volumes.all =
        volumes.all && (said == nullptr || said->text() == std::to_string(breaths->count));
    for (const Node& breath : *breaths) {
      const auto volume = value_in(breath.find("volume"), "mL");
      if (!volume) {
        continue;
      }
      volumes.sum = Decimal::add(volumes.sum, *volume).value_or(volumes.sum);
      volumes.scale = std::max(volumes.scale, volume->scale());
      ++volumes.count;
      if (!volumes.best || *volumes.best < *volume) {
        volumes.best = volume;
        volumes.best_from = input;
        volumes.goal = value_in(set->find("goal"), "mL");
      }
    }
  }
  return volumes;
}

Finding volume_finding(const FindingWriter& writer, const Volumes& volumes, std::string_view code,
                       std::string method) {
  Finding finding;
  finding.code = finding.role = code;
  finding.method = std::move(method);
  finding.final = writer.closed() && volumes.final;
  finding.from = {volumes.best_from};
  return finding;
}

void percent(FindingWriter& writer, const Volumes& volumes, std::string_view code,
             const std::optional<Decimal>& of_ml, const std::string& method) {
  const auto value = of_ml ? percent_of(*volumes.best, *of_ml) : std::nullopt;
  if (!value) {
    return;
  }
  Finding finding = volume_finding(writer, volumes, code,
                                   method + ": best / " + of_ml->to_string() + " mL x 100, v1");
  finding.value = Quantity{*value, "%"};
  writer.add(finding);
}

void predicted_findings(FindingWriter& writer, const Volumes& volumes) {
  const auto& capacity = writer.predictions().capacity();
  if (!capacity) {
    return;
  }
  Finding finding = volume_finding(
      writer, volumes, "predicted-inspired-volume",
      "GLI 2021 inspiratory capacity, European ancestry, spline rows interpolated, v1");
  finding.from.clear();
  finding.value = Quantity{capacity->predicted, "L"};
  finding.parts = {{"lower-limit", Quantity{capacity->lower_limit, "L"}, {}, {}, {}}};
  writer.add(finding);
  const auto in_ml = Decimal::multiply(capacity->predicted, Decimal::from_int(1'000));
  percent(writer, volumes, "percent-of-predicted",
          in_ml ? std::optional<Decimal>(in_ml->rounded(0)) : std::nullopt,
          "Percent of predicted inspiratory capacity (GLI 2021)");
}

void trend(FindingWriter& writer, const Volumes& volumes) {
  const Node* earlier = writer.session().find("earlier");
  const auto last = earlier != nullptr && earlier->last != nullptr
                        ? value_in(earlier->last->find("bestInspiredVolume"), "mL")
                        : std::nullopt;
  const auto change = last ? Decimal::subtract(*volumes.best, *last) : std::nullopt;
  if (!change) {
    return;
  }
  Finding finding = volume_finding(writer, volumes, "volume-trend",
                                   "Best volume minus that of the session before, v1");
  finding.value = Quantity{*change, "mL"};
  writer.add(finding);
}

}  // namespace

void add_breathing_findings(FindingWriter& writer, const Readings& readings) {
  const Volumes volumes = collect(readings);
  if (!volumes.best) {
    return;
  }
  Finding best = volume_finding(writer, volumes, "best-inspired-volume",
                                "Highest volume of all repetitions, v1");
  best.value = Quantity{*volumes.best, "mL"};
  writer.add(best);
  const auto mean = Decimal::divide(volumes.sum, Decimal::from_int(volumes.count), 8);
  if (mean && volumes.all) {
    Finding finding = volume_finding(
        writer, volumes, "mean-inspired-volume",
        "Mean of " + std::to_string(volumes.count) + " repetitions, rounded as they came, v1");
    finding.from = volumes.from;
    finding.value = Quantity{mean->rounded(volumes.scale), "mL"};
    writer.add(finding);
  }
  const Node& session = writer.session();
  const auto ordered = value_in(step(&session, {"order", "breathing", "volumeGoal"}), "mL");
  percent(writer, volumes, "percent-of-goal", volumes.goal ? volumes.goal : ordered,
          "Percent of the goal");
  percent(writer, volumes, "percent-of-baseline",
          value_in(step(&session, {"patient", "baseline", "inspiredVolume"}), "mL"),
          "Percent of the pre-operative volume");
  predicted_findings(writer, volumes);
  trend(writer, volumes);
}

}  // namespace engine::therapy
