#pragma once
// Character classes of the standards' grammars, which are ASCII and know no locale.

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

}  // namespace engine::fhir
