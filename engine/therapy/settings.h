#pragma once
// The site's settings that the pure core reads (JSON; docs/findings.md lists them). Unknown members
// are refused, so that a slip of the pen never switches something silently.

#include <string>
#include <string_view>
#include <unordered_set>

#include "engine/base/decimal.h"
#include "engine/base/result.h"

namespace engine::therapy {

struct Settings {
  // Canonical base of the identifiers that the engine makes.
  std::string base = "https://chartferry.example/fhir";
  // Codes of findings that are not computed.
  std::unordered_set<std::string> findings_off;
  // Readings of a series further apart than this say nothing about what was between them.
  int series_gap_seconds = 30;
  // How far a time may lie ahead of the intake's clock.
  int future_minutes = 5;
  // "220-age" or "208-0.7*age"; empty: no percentage of a predicted heart rate.
  std::string heart_rate_formula = "220-age";
  // Whether 15-minute units are counted and shown; they never land in a resource.
  bool timed_units = false;
  bool summary = true;
};

// Errors: kInvalid naming the member. Empty text gives the defaults.
base::Result<Settings> parse_settings(std::string_view text);

}  // namespace engine::therapy
