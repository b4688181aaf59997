#include "engine/journal/search_key.h"

#include <array>
#include <cerrno>
#include <utility>

#include <fcntl.h>
#include <unistd.h>

#include "engine/journal/record.h"

namespace engine::journal {
namespace {

constexpr std::size_t kBlockBytes = 64;  // of SHA-256

base::Result<SearchKey> from_hex(std::string_view hex, const std::string& path) {
  while (!hex.empty() && hex.back() == '\n') {
    hex.remove_suffix(1);
  }
  const auto digest = digest_from_hex(hex);
  if (!digest) {
    return base::Error(base::ErrorCode::kInvalid, "a key file holds 64 hexadecimal digits", path);
  }
  return SearchKey(std::string(digest->begin(), digest->end()));
}

}  // namespace

base::Digest hmac_sha256(std::string_view key, std::string_view message) {
  std::string block(kBlockBytes, '\0');
  if (key.size() > kBlockBytes) {
    const base::Digest shortened = base::sha256(key);
    std::copy(shortened.begin(), shortened.end(), block.begin());
  } else {
    std::copy(key.begin(), key.end(), block.begin());
  }
  std::string inner = block;
  std::string outer = block;
  for (std::size_t i = 0; i < kBlockBytes; ++i) {
    inner[i] = static_cast<char>(inner[i] ^ 0x36);
    outer[i] = static_cast<char>(outer[i] ^ 0x5C);
  }
  const base::Digest digest = base::sha256(inner.append(message));
  return base::sha256(outer.append(digest.begin(), digest.end()));
}

base::Result<SearchKey> SearchKey::load(const std::string& path, std::string_view random) {
  int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0 && errno == ENOENT && !random.empty()) {
    fd = ::open(path.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
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
  if (fd < 0) {
    return base::Error(errno == ENOENT ? base::ErrorCode::kNotFound : base::ErrorCode::kIo,
                       "cannot read the key file", path);
  }
  std::array<char, 128> text{};
  const ssize_t n = ::read(fd, text.data(), text.size());
  ::close(fd);
  return from_hex(std::string_view(text.data(), n > 0 ? static_cast<std::size_t>(n) : 0), path);
}

std::string SearchKey::hide(std::string_view identifier) const {
  if (identifier.empty()) {
    return {};
  }
  return base::to_hex(hmac_sha256(secret_, identifier)).substr(0, 32);
}

}  // namespace engine::journal
