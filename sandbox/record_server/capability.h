#pragma once
// What the server says of itself (FHIR R4 CapabilityStatement).

#include <string>

#include "sandbox/record_server/context.h"

namespace sandbox::record_server {

std::string capability_statement(const Context& context);

}  // namespace sandbox::record_server
