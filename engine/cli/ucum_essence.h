#pragma once
// Reads the table that UCUM publishes as ucum-essence.xml, unmodified. Only the command and tests
// read XML.

#include <string_view>

#include "engine/base/result.h"
#include "engine/ucum/ucum.h"

namespace engine::cli {

// Errors: kInvalid (not this kind of XML, an unknown function, a bad row), kLimit (over
// kBodyBytesMax).
base::Result<ucum::UnitTable> read_ucum_essence(std::string_view xml);

}  // namespace engine::cli
