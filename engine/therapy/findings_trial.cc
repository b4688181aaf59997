// The outcome of each oxygen step, judged against the ordered limits and nothing else: tolerated,
// not tolerated and why, or not determined. The engine never proposes a flow.

#include "engine/therapy/finding_writer.h"
#include "engine/therapy/readings.h"

namespace engine::therapy {
namespace {

using base::Decimal;
using json::Node;

struct Ordered {
  std::optional<Decimal> saturation_low;
  std::optional<Decimal> pulse_max;
  std::optional<Decimal> rate_max;
  bool any() const { return saturation_low || pulse_max || rate_max; }
};

Ordered ordered_limits(const Node& session) {
  Ordered ordered;
  const Node* order = session.find("order");
  if (order == nullptr) {
    return ordered;
  }
  if (const Node* target = order->find("saturationTarget")) {
    ordered.saturation_low = value_in(target->find("low"), "%");
  }
  if (const Node* limits = order->find("limits")) {
    ordered.pulse_max = value_in(limits->find("pulseMax"), "/min");
    ordered.rate_max = value_in(limits->find("breathingRateMax"), "/min");
  }
  return ordered;
}

// What one entry says against the limits; adds its readings to `from`.
std::string breach(const Node& vitals, const Node& entry, const Ordered& ordered,
                   std::vector<Input>& from) {
  const std::string_view id = entry.string_at("id");
  const auto saturation = value_in(vitals.find("saturation"), "%");
  const auto pulse = value_in(vitals.find("pulse"), "/min");
  const auto rate = value_in(vitals.find("breathingRate"), "/min");
  std::string why;
  const auto add = [&why](const std::string& text) { why += (why.empty() ? "" : "; ") + text; };
  if (saturation && ordered.saturation_low) {
    from.push_back({id, "saturation"});
    if (*saturation < *ordered.saturation_low) {
      add("saturation " + saturation->to_string() + " % under the ordered " +
          ordered.saturation_low->to_string() + " %");
    }
  }
  if (pulse && ordered.pulse_max) {
    from.push_back({id, "pulse"});
    if (*ordered.pulse_max < *pulse) {
      add("pulse " + pulse->to_string() + " over the ordered " + ordered.pulse_max->to_string());
    }
  }
  if (rate && ordered.rate_max) {
    from.push_back({id, "breathing-rate"});
    if (*ordered.rate_max < *rate) {
      add("breathing rate " + rate->to_string() + " over the ordered " +
          ordered.rate_max->to_string());
    }
  }
  return why;
}

}  // namespace

void add_trial_findings(FindingWriter& writer, const Readings& readings) {
  const Ordered ordered = ordered_limits(writer.session());
  for (std::size_t i = 0; i < readings.entries.size(); ++i) {
    const Node& step = *readings.entries[i];
    if (step.find("oxygenStep") == nullptr) {
      continue;
    }
    Finding finding;
    finding.code = finding.role = "oxygen-trial";
    finding.entry = &step;
    finding.method = "Readings until the next step against the ordered limits, v1";
    finding.final = is_final(step);
    finding.from = {{step.string_at("id"), "activity"}};
    std::string why;
    for (std::size_t j = i + 1; j < readings.entries.size(); ++j) {
      const Node& later = *readings.entries[j];
      if (later.find("oxygenStep") != nullptr) {
        break;
      }
      if (const Node* vitals = later.find("vitals")) {
        const std::string said = breach(*vitals, later, ordered, finding.from);
        why = why.empty() ? said : why;
        finding.final = finding.final && is_final(later);
      }
    }
    const bool judged = ordered.any() && finding.from.size() > 1;
    finding.concept_code =
        !judged ? "not-determined" : (why.empty() ? "tolerated" : "not-tolerated");
    if (!judged) {
      why = ordered.any() ? "no reading after the step" : "no ordered limits on file";
    }
    if (!why.empty()) {
      finding.parts = {{"why", {}, {}, why, {}}};
    }
    // derivedFrom may name Observations only; the step itself is a Procedure.
    finding.from.erase(finding.from.begin());
    writer.add(finding);
  }
}

}  // namespace engine::therapy
