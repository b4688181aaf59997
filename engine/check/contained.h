#pragma once
// Which contained resources something points at (FHIR R4 dom-3, references.html).

#include <string_view>

#include "engine/json/node.h"

namespace engine::check {

// True when the container, another contained resource or a narrative refers to #id, or the
// contained resource refers to its container with #.
bool is_pointed_at(const json::Node& contained, std::string_view id, const json::Node& container);

}  // namespace engine::check
