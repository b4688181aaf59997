// Estimated inspired fraction, saturation to fraction ratio, ROX. All are estimates outside their
// study populations: no threshold is attached to any of them.

#include "engine/therapy/finding_writer.h"
#include "engine/therapy/formulas.h"
#include "engine/therapy/readings.h"
#include "engine/therapy/steps.h"

namespace engine::therapy {
namespace {

using base::Decimal;
using json::Node;

void fraction_finding(FindingWriter& writer, const Node& entry, const Fraction& fraction,
                      std::string_view oxygen_role) {
  Finding finding;
  finding.code = finding.role = "estimated-inspired-fraction";
  finding.entry = &entry;
  finding.method = "Estimated inspired fraction: " + std::string(fraction.method);
  finding.final = is_final(entry);
  finding.from = {{entry.string_at("id"), oxygen_role}};
  if (fraction.point) {
    finding.value = Quantity{*fraction.point, "1"};
  } else {
    finding.low = Quantity{*fraction.low, "1"};
    finding.high = Quantity{*fraction.high, "1"};
  }
  writer.add(finding);
}

void ratio_finding(FindingWriter& writer, const Node& entry, const Decimal& saturation,
                   const Fraction& fraction, std::string_view oxygen_role) {
  Finding finding;
  finding.code = finding.role = "saturation-fraction-ratio";
  finding.entry = &entry;
  finding.method = "SpO2 / inspired fraction of " + fraction.point->to_string() + " (" +
                   std::string(fraction.method) + "); holds at 97 % or less, v1";
  finding.final = is_final(entry);
  finding.from = {{entry.string_at("id"), "saturation"}, {entry.string_at("id"), oxygen_role}};
  if (const auto ratio = saturation_fraction_ratio(saturation, *fraction.point)) {
    finding.value = Quantity{*ratio, "1"};
  } else {
    finding.absent = "not-applicable";
  }
  writer.add(finding);
}

// Only heated high flow with a fraction set at the device.
void rox_finding(FindingWriter& writer, const Node& entry, const Node& vitals,
                 const Decimal& saturation, const Fraction& fraction) {
  const auto rate = value_in(vitals.find("breathingRate"), "/min");
  if (step_text(&vitals, {"oxygen", "device"}) != "high-flow-cannula" || fraction.estimated ||
      !rate) {
    return;
  }
  const auto rox = rox_index(saturation, *fraction.point, *rate);
  if (!rox) {
    return;
  }
  Finding finding;
  finding.code = finding.role = "rox-index";
  finding.entry = &entry;
  finding.method =
      "(SpO2 / inspired fraction) / breathing rate; studied in pneumonia on heated high flow only, "
      "v1";
  finding.final = is_final(entry);
  finding.from = {{entry.string_at("id"), "saturation"},
                  {entry.string_at("id"), "oxygen-fraction"},
                  {entry.string_at("id"), "breathing-rate"}};
  finding.value = Quantity{*rox, "1"};
  writer.add(finding);
}

}  // namespace

void add_oxygen_findings(FindingWriter& writer, const Readings& readings) {
  for (const Node* entry : readings.entries) {
    const Node* vitals = entry->find("vitals");
    const Node* oxygen = vitals != nullptr ? vitals->find("oxygen") : nullptr;
    if (oxygen == nullptr || oxygen->string_at("device") == "room-air") {
      continue;
    }
    const auto flow = value_in(oxygen->find("flow"), "L/min");
    const auto set = value_in(oxygen->find("fraction"), "%");
    const auto fraction = inspired_fraction(oxygen->string_at("device"), flow, set);
    if (!fraction) {
      continue;
    }
    const std::string_view role = set ? "oxygen-fraction" : "oxygen-flow";
    if (fraction->estimated) {
      fraction_finding(writer, *entry, *fraction, role);
    }
    const auto saturation = value_in(vitals->find("saturation"), "%");
    if (saturation && fraction->point) {
      ratio_finding(writer, *entry, *saturation, *fraction, role);
      rox_finding(writer, *entry, *vitals, *saturation, *fraction);
    }
  }
}

}  // namespace engine::therapy
