#pragma once
// The list of targets in a record (Record::targets).

#include <string>
#include <string_view>
#include <vector>

namespace engine::journal {

// Names separated by commas; none of an empty list.
std::vector<std::string> target_names(std::string_view targets);

}  // namespace engine::journal
