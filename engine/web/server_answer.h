#pragma once
// What a record server answered, for showing: it may be anything, in any encoding, and cut. Pure.

#include <string>
#include <string_view>

namespace engine::web {

// UTF-8, with U+FFFD for each byte that is none.
std::string as_utf8(std::string_view answer);

// The answer when it is an OperationOutcome (FHIR R4), otherwise one that quotes its beginning.
std::string as_outcome(std::string_view answer);

}  // namespace engine::web
