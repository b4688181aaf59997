#pragma once
// Whole files for the commands; the core takes bytes in memory.

#include <cstddef>
#include <string>

#include "engine/base/limits.h"
#include "engine/base/result.h"

namespace engine::cli {

// The bytes of a regular file, or of what a shell names under /dev/; "-" is standard input. Errors:
// kIo naming the file and the system's reason, kLimit.
base::Result<std::string> read_file(const std::string& path,
                                    std::size_t bytes_max = base::limits::kCheckedBytesMax);

}  // namespace engine::cli
