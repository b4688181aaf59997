#include "engine/journal/target_names.h"

#include <algorithm>

namespace engine::journal {

std::vector<std::string> target_names(std::string_view targets) {
  std::vector<std::string> out;
  while (!targets.empty()) {
    const std::size_t comma = std::min(targets.find(','), targets.size());
    out.emplace_back(targets.substr(0, comma));
    targets.remove_prefix(std::min(comma + 1, targets.size()));
  }
  return out;
}

}  // namespace engine::journal
