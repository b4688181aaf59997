#pragma once
// fixed[x], pattern[x] and ordered values (FHIR R4 ElementDefinition; profiling.html).
// Decimals compare by value, everything else by text.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/json/node.h"

namespace engine::check {

// Same content: what is absent in one is absent in the other.
bool equals_fixed(const json::Node& value, const json::Node& fixed);
// The first places where a value departs from what is fixed, at most `max`: the nodes of the value
// that are wrong or too many, and objects in which something is missing.
struct Departure {
  const json::Node* at;
  std::string text;
};
std::vector<Departure> departures(const json::Node& value, const json::Node& fixed,
                                  std::size_t max);
// Everything of the pattern is found in the value; each item of a pattern's array in some item.
bool matches_pattern(const json::Node& value, const json::Node& pattern);

// -1, 0, 1 for numbers; nullopt when one of them is none or exceeds exact arithmetic.
std::optional<int> compare_numbers(const json::Node& a, const json::Node& b);

enum class TimeOrder : std::int8_t { kBefore, kSame, kAfter, kOpen };
// date, dateTime and instant by their time spans ("2024" against "2024-03" is kOpen). A missing
// zone makes times of less than 14 hours apart kOpen.
TimeOrder compare_times(std::string_view a, std::string_view b);

// The value as short text for a message.
std::string shown(const json::Node& value);
std::string shown(std::string_view text);

}  // namespace engine::check
