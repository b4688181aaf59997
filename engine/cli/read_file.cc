#include "engine/cli/read_file.h"

#include <cerrno>
#include <cstdio>
#include <cstring>

#include <sys/stat.h>
#include <unistd.h>

#include "engine/journal/open_file.h"

namespace engine::cli {

namespace {

base::Result<std::FILE*> open_stream(const std::string& path) {
  const auto fd = journal::open_to_read(path);
  if (!fd) {
    return base::Error{base::ErrorCode::kIo, fd.error().detail, path};
  }
  std::FILE* const file = ::fdopen(*fd, "rb");
  if (file == nullptr) {
    const int reason = errno;
    ::close(*fd);
    return base::Error{base::ErrorCode::kIo, std::strerror(reason), path};
  }
  return file;
}

}  // namespace

base::Result<std::string> read_file(const std::string& path, std::size_t bytes_max) {
  constexpr std::size_t kBlockBytes = std::size_t{64} << 10;
  const bool standard_input = path == "-";
  const auto opened = standard_input ? base::Result<std::FILE*>(stdin) : open_stream(path);
  if (!opened) {
    return opened.error();
  }
  std::FILE* const file = *opened;
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

base::Result<void> check_rights(const std::string& path, const std::string& what) {
  struct stat facts {};
  if (::stat(path.c_str(), &facts) != 0) {
    return base::Error(base::ErrorCode::kIo, "cannot read " + what + ": " + std::strerror(errno),
                       path);
  }
  if ((facts.st_mode & (S_IRWXO | S_IWGRP)) != 0) {
    return base::Error(base::ErrorCode::kInvalid,
                       what + " is its owner's to write and its group's to read at most: chmod 640",
                       path);
  }
  return {};
}

}  // namespace engine::cli
