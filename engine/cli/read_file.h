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

// Whether a file that holds a secret is its owner's to write and at most its group's to read.
// `what`: "the people file", for the error. Errors: kIo, kInvalid naming the file and what to do.
base::Result<void> check_rights(const std::string& path, const std::string& what);

}  // namespace engine::cli
