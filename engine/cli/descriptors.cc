#include "engine/cli/descriptors.h"

#include <algorithm>

#include <sys/resource.h>

#include "engine/base/limits.h"

namespace engine::cli {

std::size_t raise_descriptors() {
  rlimit limit{};
  if (::getrlimit(RLIMIT_NOFILE, &limit) != 0) {
    return 0;
  }
  rlimit raised = limit;
  raised.rlim_cur = raised.rlim_max;
  return static_cast<std::size_t>(
      (::setrlimit(RLIMIT_NOFILE, &raised) == 0 ? raised : limit).rlim_cur);
}

std::size_t connections_with(std::size_t descriptors) {
  const std::size_t left = descriptors < 2 * base::limits::kDescriptorsReserve
                               ? descriptors / 2
                               : descriptors - base::limits::kDescriptorsReserve;
  return std::clamp<std::size_t>(left, 1, base::limits::kConnectionsMax);
}

}  // namespace engine::cli
