#include "engine/base/hash.h"

#include <openssl/evp.h>

#include "engine/base/check.h"

namespace engine::base {
namespace {

template <std::size_t N>
std::array<std::uint8_t, N> digest_of(const EVP_MD* kind, std::string_view first,
                                      std::string_view second) {
  std::array<std::uint8_t, N> out{};
  EVP_MD_CTX* context = EVP_MD_CTX_new();
  ENGINE_CHECK(context != nullptr);
  unsigned length = 0;
  const bool ok = EVP_DigestInit_ex(context, kind, nullptr) == 1 &&
                  EVP_DigestUpdate(context, first.data(), first.size()) == 1 &&
                  EVP_DigestUpdate(context, second.data(), second.size()) == 1 &&
                  EVP_DigestFinal_ex(context, out.data(), &length) == 1;
  EVP_MD_CTX_free(context);
  ENGINE_CHECK(ok && length == N);
  return out;
}

std::string_view as_text(const std::uint8_t* data, std::size_t size) {
  return {reinterpret_cast<const char*>(data), size};
}

}  // namespace

Digest sha256(std::string_view bytes) {
  // Fetched once: otherwise the library looks the algorithm up at every digest.
  static const EVP_MD* const kind = EVP_MD_fetch(nullptr, "SHA2-256", nullptr);
  return digest_of<32>(kind, bytes, {});
}

std::string to_hex(std::string_view bytes) {
  static constexpr char kDigits[] = "0123456789abcdef";
  std::string out;
  out.reserve(bytes.size() * 2);
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    out.push_back(kDigits[byte >> 4]);
    out.push_back(kDigits[byte & 15]);
  }
  return out;
}

std::string to_hex(const Digest& digest) {
  return to_hex(as_text(digest.data(), digest.size()));
}

std::string sha256_hex(std::string_view bytes) {
  return to_hex(sha256(bytes));
}

Uuid name_based_uuid(const Uuid& space, std::string_view name) {
  static const EVP_MD* const kind = EVP_MD_fetch(nullptr, "SHA1", nullptr);
  const auto digest = digest_of<20>(kind, as_text(space.data(), space.size()), name);
  Uuid uuid{};
  for (std::size_t i = 0; i < uuid.size(); ++i) {
    uuid[i] = digest[i];
  }
  uuid[6] = static_cast<std::uint8_t>((uuid[6] & 0x0f) | 0x50);  // version 5
  uuid[8] = static_cast<std::uint8_t>((uuid[8] & 0x3f) | 0x80);  // variant 10
  return uuid;
}

std::string to_string(const Uuid& uuid) {
  const std::string hex = to_hex(as_text(uuid.data(), uuid.size()));
  std::string out;
  out.reserve(36);
  out.append(hex, 0, 8).append(1, '-').append(hex, 8, 4).append(1, '-').append(hex, 12, 4);
  return out.append(1, '-').append(hex, 16, 4).append(1, '-').append(hex, 20);
}

}  // namespace engine::base
