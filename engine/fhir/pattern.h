#pragma once
// Regular expressions of definitions (a value set's filter, an element's regex), matched in linear
// time whatever the pattern: hostile ones cannot stall the engine.

#include <optional>
#include <string_view>

namespace engine::fhir {

// Whether the pattern matches the whole text. nullopt when it is no pattern that can be matched so.
std::optional<bool> matches_whole(std::string_view pattern, std::string_view text);

}  // namespace engine::fhir
