#pragma once
// The resource types this record server keeps.

#include <string_view>
#include <vector>

namespace sandbox::record_server {

const std::vector<std::string_view>& resource_types();
bool is_resource_type(std::string_view name);
// FHIR R4 id: 1 to 64 of A-Z a-z 0-9 - and the full stop.
bool is_id(std::string_view text);

}  // namespace sandbox::record_server
