#include "engine/therapy/settings.h"

#include "engine/json/document.h"

namespace engine::therapy {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using json::Node;

Error bad(const Node& at, std::string what) {
  return Error(ErrorCode::kInvalid, std::move(what), "settings: " + std::string(at.name_text()));
}

// A whole number within bounds; an Error otherwise.
Result<int> whole(const Node& node, int low, int high) {
  const auto value = base::Decimal::parse(node.is_number() ? node.text() : "x");
  const auto number = value ? value->to_int64() : std::nullopt;
  if (!number || *number < low || *number > high) {
    return bad(node, "a whole number from " + std::to_string(low) + " to " + std::to_string(high) +
                         " is expected");
  }
  return static_cast<int>(*number);
}

Result<void> read_member(const Node& member, Settings& settings) {
  const std::string_view name = member.name_text();
  if (name == "base" || name == "heartRateFormula") {
    if (!member.is_string()) {
      return bad(member, "a text is expected");
    }
    (name == "base" ? settings.base : settings.heart_rate_formula) = member.text();
    if (name != "base" && member.text() != "220-age" && member.text() != "208-0.7*age" &&
        !member.text().empty()) {
      return bad(member, "'220-age', '208-0.7*age' or nothing is expected");
    }
  } else if (name == "findingsOff") {
    if (!member.is_array()) {
      return bad(member, "a list of codes of findings is expected");
    }
    for (const Node& code : member) {
      settings.findings_off.emplace(code.text());
    }
  } else if (name == "seriesGapSeconds" || name == "futureMinutes") {
    constexpr int kMost = 3'600;
    Result<int> number = whole(member, name == "futureMinutes" ? 0 : 1, kMost);
    if (!number) {
      return std::move(number).error();
    }
    (name == "futureMinutes" ? settings.future_minutes : settings.series_gap_seconds) = *number;
  } else if (name == "timedUnits" || name == "summary") {
    if (!member.is_boolean()) {
      return bad(member, "true or false is expected");
    }
    (name == "summary" ? settings.summary : settings.timed_units) = member.boolean;
  } else {
    return bad(member, "there is no such setting; docs/findings.md lists them");
  }
  return {};
}

}  // namespace

Result<Settings> parse_settings(std::string_view text) {
  Settings settings;
  if (text.empty()) {
    return settings;
  }
  const json::NameTable names;
  json::Document document(names);
  Result<void> parsed = document.parse(text);
  if (!parsed) {
    return Error(ErrorCode::kInvalid, parsed.error().detail, "settings:" + parsed.error().where);
  }
  if (!document.root()->is_object()) {
    return Error(ErrorCode::kInvalid, "one JSON object is expected", "settings");
  }
  for (const Node& member : *document.root()) {
    Result<void> read = read_member(member, settings);
    if (!read) {
      return std::move(read).error();
    }
  }
  return settings;
}

}  // namespace engine::therapy
