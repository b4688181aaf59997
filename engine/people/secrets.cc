#include "engine/people/secrets.h"

#include <algorithm>
#include <array>
#include <charconv>

#include <sodium.h>

#include "engine/base/check.h"
#include "engine/base/hash.h"
#include "engine/base/limits.h"

namespace engine::people {
namespace {

// RFC 9106 section 4, the choice where memory is scarce: three passes over 64 MiB.
constexpr unsigned long long kPasses = 3;
constexpr std::size_t kMemoryBytes = std::size_t{64} << 20;
// Of a file that another program wrote: more would stop the sign-ins of a ward.
constexpr unsigned long kPassesMax = 10;
constexpr unsigned long kMemoryKibMax = 1UL << 20;

constexpr std::string_view kPasswordMark = "$argon2id$v=19$m=";
constexpr std::string_view kSecretMark = "sha256:";

void ready() {
  static const bool there = sodium_init() >= 0;
  ENGINE_CHECK(there);
}

// The number before `end`, which is taken too; 0 when there is none.
unsigned long take_number(std::string_view& text, std::string_view end) {
  unsigned long number = 0;
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  text.remove_prefix(static_cast<std::size_t>(stop - text.data()));
  if (error != std::errc() || !text.starts_with(end)) {
    return 0;
  }
  text.remove_prefix(end.size());
  return number;
}

}  // namespace

base::Result<std::string> keep_password(std::string_view password) {
  if (password.size() < base::limits::kPasswordBytesMin ||
      password.size() > base::limits::kPasswordBytesMax) {
    return base::Error(base::ErrorCode::kInvalid,
                       "a password has " + std::to_string(base::limits::kPasswordBytesMin) +
                           " to " + std::to_string(base::limits::kPasswordBytesMax) +
                           " bytes; a sentence is a good one");
  }
  ready();
  std::array<char, crypto_pwhash_STRBYTES> text{};
  if (crypto_pwhash_str_alg(text.data(), password.data(), password.size(), kPasses, kMemoryBytes,
                            crypto_pwhash_ALG_ARGON2ID13) != 0) {
    return base::Error(base::ErrorCode::kLimit, "keeping a password needs 64 MiB of memory");
  }
  return std::string(text.data());
}

bool is_password(const std::string& kept, std::string_view password) {
  ready();
  return crypto_pwhash_str_verify(kept.c_str(), password.data(), password.size()) == 0;
}

bool is_kept_password(const std::string& text) {
  ready();
  std::string_view rest = text;
  if (!rest.starts_with(kPasswordMark) || text.size() >= crypto_pwhash_STRBYTES) {
    return false;
  }
  rest.remove_prefix(kPasswordMark.size());
  const unsigned long memory = take_number(rest, ",t=");
  const unsigned long passes = take_number(rest, ",p=");
  const unsigned long lanes = take_number(rest, "$");
  return memory > 0 && memory <= kMemoryKibMax && passes > 0 && passes <= kPassesMax &&
         lanes == 1 && crypto_pwhash_str_needs_rehash(text.c_str(), kPasses, kMemoryBytes) >= 0;
}

const std::string& nobodys_password() {
  // Of 32 random bytes that were thrown away.
  static const std::string kept = [] {
    ready();
    std::array<char, 32> random{};
    randombytes_buf(random.data(), random.size());
    auto text = keep_password(std::string_view(random.data(), random.size()));
    return text ? *text : std::string();
  }();
  return kept;
}

std::string make_secret(base::Random& random) {
  std::array<std::uint8_t, 32> bytes{};
  random.fill(bytes);
  return base::to_hex(bytes);
}

std::string keep_secret(std::string_view secret) {
  return std::string(kSecretMark) + base::sha256_hex(secret);
}

bool is_kept_secret(std::string_view text) {
  constexpr std::size_t kDigits = 64;
  if (!text.starts_with(kSecretMark) || text.size() != kSecretMark.size() + kDigits) {
    return false;
  }
  text.remove_prefix(kSecretMark.size());
  return std::all_of(text.begin(), text.end(),
                     [](char c) { return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f'); });
}

void wipe(std::string& text) {
  sodium_memzero(text.data(), text.size());
  text.clear();
}

}  // namespace engine::people
