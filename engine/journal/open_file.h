#pragma once
// Opening files that the site names: keys, certificates, lists.

#include <string>

#include "engine/base/result.h"

namespace engine::journal {

// A descriptor of a regular file, to be read and closed by the caller; of anything else only what a
// shell names ("/dev/stdin", "/dev/fd/63"). Opening does not wait for a writer: a pipe where a file
// is meant would stop the engine's start without a word. Errors, with the system's reason:
// kNotFound, kIo.
base::Result<int> open_to_read(const std::string& path);

}  // namespace engine::journal
