#pragma once
// A file of 32 secret bytes as 64 hexadecimal digits, readable by its owner only.

#include <string>
#include <string_view>

#include "engine/base/result.h"

namespace engine::journal {

// The bytes of the file. When there is none and `random` is given (32 bytes), they are written
// there first. Errors: kIo, kInvalid, kNotFound.
base::Result<std::string> load_secret(const std::string& path, std::string_view random);

}  // namespace engine::journal
