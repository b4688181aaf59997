#pragma once
// What can be searched for: the table of search parameters, and the facts that a resource offers to
// them. Extracted once when a version is written, so that a search never parses. Source: FHIR R4
// search, and the search parameters of the R4 resource types (names and paths).

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/json/node.h"
#include "sandbox/record_server/date_range.h"

namespace sandbox::record_server {

enum class FactKind : unsigned char { kToken, kReference, kDate, kText };

struct SearchParameter {
  std::string_view name;
  FactKind kind;
  std::string_view types;  // blank-separated; empty for every type
  std::string_view path;   // members from the resource down; "effective[x]" takes any type's member
  std::string_view target;  // a reference to one type only; empty for any
};

struct Fact {
  const SearchParameter* parameter = nullptr;
  std::string first;   // token: system; reference: "Patient/12"; text: lower case
  std::string second;  // token: code; reference: "system|value" of a logical one
  DateRange range;
};
using Facts = std::vector<Fact>;

// nullptr when the type has no such parameter.
const SearchParameter* find_parameter(std::string_view type, std::string_view name);
std::vector<const SearchParameter*> parameters_of(std::string_view type);
Facts facts_of(std::string_view type, const engine::json::Node& resource);
std::string to_lower(std::string_view text);

}  // namespace sandbox::record_server
