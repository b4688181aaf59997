#include "engine/journal/secret_file.h"

#include <array>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "engine/journal/open_file.h"
#include "engine/journal/record.h"

namespace engine::journal {
namespace {

base::Result<std::string> from_hex(std::string_view hex, const std::string& path) {
  while (!hex.empty() && hex.back() == '\n') {
    hex.remove_suffix(1);
  }
  const auto digest = digest_from_hex(hex);
  if (!digest) {
    return base::Error(base::ErrorCode::kInvalid, "a key file holds 64 hexadecimal digits", path);
  }
  return std::string(digest->begin(), digest->end());
}

// What a shell hands over as a pipe has no rights of its own.
bool is_private(int fd) {
  struct stat file {};
  return ::fstat(fd, &file) == 0 &&
         (!S_ISREG(file.st_mode) || (file.st_mode & (S_IRWXG | S_IRWXO)) == 0);
}

}  // namespace

base::Result<std::string> load_secret(const std::string& path, std::string_view random,
                                      Guard guard) {
  const auto there = open_to_read(path);
  if (!there && there.error().code == base::ErrorCode::kNotFound && !random.empty()) {
    const int fd = ::open(path.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd < 0) {
      return base::Error(base::ErrorCode::kIo, "cannot write the key file", path);
    }
    const std::string hex = base::to_hex(random) + "\n";
    const bool written =
        ::write(fd, hex.data(), hex.size()) == static_cast<ssize_t>(hex.size()) && ::fsync(fd) == 0;
    ::close(fd);
    return written ? from_hex(hex, path)
                   : base::Error(base::ErrorCode::kIo, "cannot write the key file", path);
  }
  if (!there) {
    return base::Error(there.error().code, "cannot read the key file: " + there.error().detail,
                       path);
  }
  if (guard == Guard::kFile && !is_private(*there)) {
    ::close(*there);
    return base::Error(base::ErrorCode::kInvalid,
                       "others than its owner can get at the key file; chmod 600", path);
  }
  std::array<char, 128> text{};
  const ssize_t n = ::read(*there, text.data(), text.size());
  ::close(*there);
  return from_hex(std::string_view(text.data(), n > 0 ? static_cast<std::size_t>(n) : 0), path);
}

}  // namespace engine::journal
