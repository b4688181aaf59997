// Percent of the age-predicted maximum heart rate, predicted walk distance, treatment minutes.

#include "engine/therapy/finding_writer.h"
#include "engine/therapy/formulas.h"
#include "engine/therapy/predictions.h"
#include "engine/therapy/readings.h"
#include "engine/therapy/steps.h"

namespace engine::therapy {
namespace {

using base::Decimal;
using json::Node;

// A rate-limiting drug, a pacemaker or atrial fibrillation make the percentage useless.
void heart_rate(FindingWriter& writer, const Readings& readings) {
  const Node& session = writer.session();
  const auto age = patient_age(session);
  const auto most =
      age ? predicted_heart_rate(writer.settings().heart_rate_formula, *age) : std::nullopt;
  if (!most || step(&session, {"patient", "heartRateFlag"}) != nullptr) {
    return;
  }
  std::optional<Decimal> highest;
  const Node* at = nullptr;
  for (const Node* entry : readings.entries) {
    const Node* vitals = entry->find("vitals");
    const auto pulse = vitals != nullptr ? value_in(vitals->find("pulse"), "/min") : std::nullopt;
    if (pulse && (!highest || *highest < *pulse)) {
      highest = pulse;
      at = entry;
    }
  }
  const auto percent = highest ? percent_of(*highest, *most) : std::nullopt;
  if (!percent) {
    return;
  }
  Finding finding;
  finding.code = finding.role = "heart-rate-percent";
  finding.method = "Highest pulse of the session of " + writer.settings().heart_rate_formula +
                   " = " + most->to_string() + " /min, v1";
  finding.final = writer.closed() && is_final(*at);
  finding.from = {{at->string_at("id"), "pulse"}};
  finding.value = Quantity{*percent, "%"};
  writer.add(finding);
}

void walk(FindingWriter& writer, const Node& entry) {
  const Node* walked = entry.find("walk");
  const Node* test = walked != nullptr ? walked->find("sixMinuteTest") : nullptr;
  const auto distance = walked != nullptr ? value_in(walked->find("distance"), "m") : std::nullopt;
  const auto predicted =
      test != nullptr && test->boolean && distance ? writer.predictions().walk() : std::nullopt;
  if (!predicted) {
    return;
  }
  Finding finding;
  finding.code = finding.role = "walk-predicted";
  finding.entry = &entry;
  finding.method = "Enright and Sherrill 1998, 40 to 80 years, v1";
  finding.final = is_final(entry);
  finding.value = Quantity{*predicted, "m"};
  writer.add(finding);
  if (const auto percent = percent_of(*distance, *predicted)) {
    finding.code = finding.role = "walk-percent-predicted";
    finding.from = {{entry.string_at("id"), "walk-distance"}};
    finding.value = Quantity{*percent, "%"};
    writer.add(finding);
  }
}

}  // namespace

void add_effort_findings(FindingWriter& writer, const Readings& readings) {
  heart_rate(writer, readings);
  for (const Node* entry : readings.entries) {
    walk(writer, *entry);
  }
}

// Minutes as entered, never rounded to units; units are shown only where a site asks for them.
void add_minutes_finding(FindingWriter& writer) {
  const Node* minutes = writer.session().find("minutes");
  if (minutes == nullptr) {
    return;
  }
  Decimal timed;
  Decimal untimed;
  for (const Node& row : *minutes) {
    const auto duration = value_in(row.find("duration"), "min");
    const Node* is_timed = row.find("timed");
    if (duration && is_timed != nullptr) {
      Decimal& sum = is_timed->boolean ? timed : untimed;
      sum = Decimal::add(sum, *duration).value_or(sum);
    }
  }
  Finding finding;
  finding.code = finding.role = "therapy-minutes-total";
  finding.method = "Sum of the minutes as entered, rests left out, v1";
  finding.final = writer.closed();
  finding.value = Quantity{Decimal::add(timed, untimed).value_or(timed), "min"};
  finding.parts = {{"timed", Quantity{timed, "min"}, {}, {}, {}},
                   {"untimed", Quantity{untimed, "min"}, {}, {}, {}}};
  writer.add(finding);
  const auto whole = timed.truncated().to_int64();
  if (writer.settings().timed_units && whole) {
    finding.code = finding.role = "timed-units";
    finding.method = "15-minute units of all timed minutes of the session, v1";
    finding.value = std::nullopt;
    finding.integer = timed_units(static_cast<int>(*whole));
    finding.parts.clear();
    finding.shown_only = true;
    writer.add(finding);
  }
}

}  // namespace engine::therapy
