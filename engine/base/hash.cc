#include "engine/base/hash.h"

#include <memory>

#include <openssl/evp.h>

#include "engine/base/check.h"

namespace engine::base {
namespace {

struct ContextFree {
  void operator()(EVP_MD_CTX* context) const { EVP_MD_CTX_free(context); }
};

template <std::size_t N>
std::array<std::uint8_t, N> digest_of(const EVP_MD* kind, std::string_view first,
                                      std::string_view second) {
  // Working memory of the library, kept for the thread: a session needs some hundred short digests,
  // and making it costs more than one of them.
  static thread_local const std::unique_ptr<EVP_MD_CTX, ContextFree> context(EVP_MD_CTX_new());
  ENGINE_CHECK(context != nullptr);
  std::array<std::uint8_t, N> out{};
  unsigned length = 0;
  const bool ok = EVP_DigestInit_ex(context.get(), kind, nullptr) == 1 &&
                  EVP_DigestUpdate(context.get(), first.data(), first.size()) == 1 &&
                  EVP_DigestUpdate(context.get(), second.data(), second.size()) == 1 &&
                  EVP_DigestFinal_ex(context.get(), out.data(), &length) == 1;
  ENGINE_CHECK(ok && length == N);
  return out;
}

constexpr char kHexDigits[] = "0123456789abcdef";

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
  std::string out(bytes.size() * 2, '\0');
  char* to = out.data();
  for (const char c : bytes) {
    const auto byte = static_cast<unsigned char>(c);
    *to++ = kHexDigits[byte >> 4];
    *to++ = kHexDigits[byte & 15];
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
  std::string out = "........-....-....-....-............";
  std::size_t at = 0;
  for (const std::uint8_t byte : uuid) {
    at += out[at] == '-' ? 1U : 0U;
    out[at++] = kHexDigits[byte >> 4];
    out[at++] = kHexDigits[byte & 15];
  }
  return out;
}

}  // namespace engine::base
