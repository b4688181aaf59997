#pragma once
// Members of a body by which a caller says what is meant. One of another form is refused: taken
// for absent it would stand for something else than what was asked for.

#include <cstdint>
#include <initializer_list>
#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/json/node.h"

namespace engine::web {

// Errors of all: kInvalid, with the member.

// Whole, from 1 to `max`; 0 when it is absent.
base::Result<std::uint64_t> whole_at(const json::Node& wish, std::string_view name,
                                     std::uint64_t max);
// "" when it is absent.
base::Result<std::string> text_at(const json::Node& wish, std::string_view name);
// A FHIR instant, in UTC with milliseconds; "" when it is absent.
base::Result<std::string> instant_at(const json::Node& wish, std::string_view name);
// That nothing else is asked for, and nothing twice.
base::Result<void> check_members(const json::Node& wish,
                                 std::initializer_list<std::string_view> known);

}  // namespace engine::web
