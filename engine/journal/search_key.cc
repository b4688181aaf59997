#include "engine/journal/search_key.h"

#include <algorithm>
#include <utility>

#include "engine/journal/secret_file.h"

namespace engine::journal {
namespace {

constexpr std::size_t kBlockBytes = 64;  // of SHA-256

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

base::Digest hkdf_sha256(std::string_view key, std::string_view salt, std::string_view info) {
  const base::Digest drawn = hmac_sha256(salt, key);
  const std::string block = std::string(info) + '\x01';  // the first block is all that is needed
  return hmac_sha256(std::string(drawn.begin(), drawn.end()), block);
}

base::Result<SearchKey> SearchKey::load(const std::string& path, std::string_view random) {
  auto secret = load_secret(path, random);
  if (!secret) {
    return std::move(secret).error();
  }
  return SearchKey(std::move(*secret));
}

std::string SearchKey::hide(std::string_view identifier) const {
  if (identifier.empty()) {
    return {};
  }
  return base::to_hex(hmac_sha256(secret_, identifier)).substr(0, 32);
}

std::string SearchKey::derive(std::string_view purpose, std::string_view whose) const {
  const std::string info = std::string(purpose) + '\0' + std::string(whose);
  return base::to_hex(hkdf_sha256(secret_, "", info));
}

}  // namespace engine::journal
