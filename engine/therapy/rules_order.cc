// Readings against the order in force: shown beside the reading, never held and never judged.

#include <optional>
#include <string>

#include "engine/therapy/readings.h"
#include "engine/therapy/rules.h"

namespace engine::therapy {

using base::Decimal;
using json::Node;

void note_limits(const Node& session, Report& report) {
  const Node* order = session.find("order");
  const Node* entries = session.find("entry");
  if (order == nullptr || entries == nullptr) {
    return;
  }
  const Node* target = order->find("saturationTarget");
  const auto low = target != nullptr ? value_in(target->find("low"), "%") : std::nullopt;
  const Node* oxygen = order->find("oxygen");
  const auto most = oxygen != nullptr ? value_in(oxygen->find("flowMax"), "L/min") : std::nullopt;
  const auto least = oxygen != nullptr ? value_in(oxygen->find("flowMin"), "L/min") : std::nullopt;
  const auto highest =
      oxygen != nullptr ? value_in(oxygen->find("fractionMax"), "%") : std::nullopt;
  const Node* limits = order->find("limits");
  const auto fast = limits != nullptr ? value_in(limits->find("pulseMax"), "/min") : std::nullopt;
  for (const Node& entry : *entries) {
    const Node* vitals = entry.find("vitals");
    if (vitals == nullptr) {
      continue;
    }
    const auto saturation = value_in(vitals->find("saturation"), "%");
    if (saturation && low && *saturation < *low) {
      report.information("informational", *vitals->find("saturation"),
                         "Under the ordered range, which begins at " + low->to_string() + " %.",
                         "saturation-target");
    }
    const Node* in_force = vitals->find("oxygen");
    const auto flow =
        in_force != nullptr ? value_in(in_force->find("flow"), "L/min") : std::nullopt;
    if (flow && most && *most < *flow) {
      report.information("informational", *in_force,
                         "Over the ordered flow of " + most->to_string() + " L/min.",
                         "oxygen-order");
    }
    if (flow && least && *flow < *least) {
      report.information("informational", *in_force,
                         "Under the ordered flow of at least " + least->to_string() + " L/min.",
                         "oxygen-order");
    }
    const auto fraction =
        in_force != nullptr ? value_in(in_force->find("fraction"), "%") : std::nullopt;
    if (fraction && highest && *highest < *fraction) {
      report.information("informational", *in_force,
                         "Over the ordered fraction of " + highest->to_string() + " %.",
                         "oxygen-order");
    }
    const auto pulse = value_in(vitals->find("pulse"), "/min");
    if (pulse && fast && *fast < *pulse) {
      report.information("informational", *vitals->find("pulse"),
                         "Over the ordered highest pulse of " + fast->to_string() + " /min.",
                         "pulse-order");
    }
  }
}

}  // namespace engine::therapy
