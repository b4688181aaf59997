#pragma once
// A file of 32 secret bytes as 64 hexadecimal digits, readable by its owner only.

#include <cstdint>
#include <string>
#include <string_view>

#include "engine/base/result.h"

namespace engine::journal {

enum class Guard : std::uint8_t {
  kFile,    // nobody but its owner may read or write it
  kFolder,  // the folder that it lies in is nobody else's
};

// The bytes of the file. When there is none and `random` is given (32 bytes), they are written
// there first. Errors: kIo; kInvalid, also when others may get at it; kNotFound.
base::Result<std::string> load_secret(const std::string& path, std::string_view random,
                                      Guard guard = Guard::kFile);

}  // namespace engine::journal
