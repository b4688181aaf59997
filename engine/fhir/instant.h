#pragma once
// Instants that people and programs write, with whatever offset, in the one form in which texts of
// them can be compared.

#include <string>

#include "engine/base/result.h"

namespace engine::fhir {

// A FHIR instant in UTC with milliseconds, as records have it; "" for "". Errors: kInvalid.
base::Result<std::string> utc_of(const std::string& instant);

}  // namespace engine::fhir
