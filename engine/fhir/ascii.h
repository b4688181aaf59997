#pragma once
// Character classes of the standards' grammars, which are ASCII and know no locale.

#include <cstddef>
#include <cstdint>
#include <cstring>
#include <string_view>

namespace engine::fhir {

constexpr bool is_digit(char c) {
  return c >= '0' && c <= '9';
}
constexpr bool is_upper(char c) {
  return c >= 'A' && c <= 'Z';
}
constexpr bool is_letter(char c) {
  return (c >= 'a' && c <= 'z') || is_upper(c);
}
constexpr bool is_alphanumeric(char c) {
  return is_letter(c) || is_digit(c);
}
constexpr bool is_space(char c) {
  return c == ' ' || c == '\t' || c == '\n' || c == '\r' || c == '\v' || c == '\f';
}
constexpr bool is_hex(char c) {
  return is_digit(c) || (c >= 'a' && c <= 'f') || (c >= 'A' && c <= 'F');
}

// Whether a text holds a byte under `least` (at most 0x80); eight bytes a step.
inline bool has_byte_below(std::string_view text, unsigned char least) {
  constexpr std::uint64_t kOnes = 0x0101010101010101;
  constexpr std::uint64_t kHigh = 0x8080808080808080;
  const std::uint64_t bounds = kOnes * least;
  std::size_t at = 0;
  for (; at + 8 <= text.size(); at += 8) {
    std::uint64_t word = 0;
    std::memcpy(&word, text.data() + at, 8);
    if (((word - bounds) & ~word & kHigh) != 0) {
      return true;
    }
  }
  for (; at < text.size(); ++at) {
    if (static_cast<unsigned char>(text[at]) < least) {
      return true;
    }
  }
  return false;
}

}  // namespace engine::fhir
