#include "engine/cli/read_file.h"

#include <cerrno>
#include <cstdio>
#include <cstring>

namespace engine::cli {

base::Result<std::string> read_file(const std::string& path, std::size_t bytes_max) {
  constexpr std::size_t kBlockBytes = std::size_t{64} << 10;
  const bool standard_input = path == "-";
  std::FILE* const file = standard_input ? stdin : std::fopen(path.c_str(), "rb");
  if (file == nullptr) {
    return base::Error{base::ErrorCode::kIo, std::strerror(errno), path};
  }
  std::string bytes;
  std::size_t got = 0;
  do {
    const std::size_t had = bytes.size();
    bytes.resize(had + kBlockBytes);
    got = std::fread(bytes.data() + had, 1, kBlockBytes, file);
    bytes.resize(had + got);
  } while (got != 0 && bytes.size() <= bytes_max);
  const bool failed = std::ferror(file) != 0;
  const int reason = errno;
  if (!standard_input) {
    std::fclose(file);
  }
  if (failed) {
    return base::Error{base::ErrorCode::kIo, std::strerror(reason), path};
  }
  if (bytes.size() > bytes_max) {
    return base::Error{base::ErrorCode::kLimit, "more than " + std::to_string(bytes_max) + " bytes",
                       path};
  }
  return bytes;
}

}  // namespace engine::cli
