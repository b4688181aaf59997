#include "engine/journal/bound.h"

namespace engine::journal {

std::string bound_of(const std::string& instant) {
  const bool whole = instant.ends_with('Z') && instant.find('.') == std::string::npos;
  return whole ? instant.substr(0, instant.size() - 1) + ".000Z" : instant;
}

}  // namespace engine::journal
