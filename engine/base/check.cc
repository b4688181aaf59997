#include "engine/base/check.h"

#include <cstdio>
#include <cstdlib>

namespace engine::base {

void check_failed(const char* condition, const char* file, int line) {
  std::fprintf(stderr, "event=check_failed place=%s:%d condition=\"%s\"\n", file, line, condition);
  std::abort();
}

}  // namespace engine::base
