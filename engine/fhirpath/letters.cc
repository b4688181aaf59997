#include "engine/fhirpath/letters.h"

#include <algorithm>
#include <cstdint>

namespace engine::fhirpath {
namespace {

std::uint32_t scalar_at(std::string_view text, std::size_t at, std::size_t length) {
  const auto byte = [&](std::size_t i) {
    return static_cast<std::uint32_t>(static_cast<unsigned char>(text[at + i]));
  };
  switch (length) {
    case 2:
      return ((byte(0) & 0x1F) << 6) | (byte(1) & 0x3F);
    case 3:
      return ((byte(0) & 0x0F) << 12) | ((byte(1) & 0x3F) << 6) | (byte(2) & 0x3F);
    default:
      return byte(0);
  }
}

// Pairs that stand next to each other: the capital has the even (or odd) code.
bool alternates_from_even(std::uint32_t c) {
  return (c >= 0x100 && c <= 0x137) || (c >= 0x14A && c <= 0x177) || (c >= 0x1E00 && c <= 0x1E95) ||
         (c >= 0x1EA0 && c <= 0x1EFF) || (c >= 0x460 && c <= 0x481) || (c >= 0x48A && c <= 0x4BF);
}
bool alternates_from_odd(std::uint32_t c) {
  return (c >= 0x139 && c <= 0x148) || (c >= 0x179 && c <= 0x17E);
}

std::uint32_t lower_scalar(std::uint32_t c) {
  if (c < 0x80) {
    return c >= 'A' && c <= 'Z' ? c + 32 : c;
  }
  if (c >= 0xC0 && c <= 0xDE && c != 0xD7) {
    return c + 32;
  }
  if (c == 0x178) {
    return 0xFF;
  }
  if (c == 0x130 || c == 0x131) {
    return c;  // Turkish i, whose other case is ASCII
  }
  if (alternates_from_even(c)) {
    return c | 1;
  }
  if (alternates_from_odd(c)) {
    return c + (c & 1);
  }
  if ((c >= 0x391 && c <= 0x3AB && c != 0x3A2) || (c >= 0x410 && c <= 0x42F)) {
    return c + 32;
  }
  if (c >= 0x400 && c <= 0x40F) {
    return c + 80;
  }
  return c >= 0x531 && c <= 0x556 ? c + 48 : c;
}

std::uint32_t upper_scalar(std::uint32_t c) {
  if (c < 0x80) {
    return c >= 'a' && c <= 'z' ? c - 32 : c;
  }
  if (c >= 0xE0 && c <= 0xFE && c != 0xF7) {
    return c - 32;
  }
  if (c == 0xFF) {
    return 0x178;
  }
  if (c == 0x130 || c == 0x131) {
    return c;
  }
  if (alternates_from_even(c)) {
    return c & ~1U;
  }
  if (alternates_from_odd(c)) {
    return c - 1 + (c & 1);
  }
  if (c == 0x3C2) {
    return 0x3A3;  // final sigma
  }
  if ((c >= 0x3B1 && c <= 0x3CB) || (c >= 0x430 && c <= 0x44F)) {
    return c - 32;
  }
  if (c >= 0x450 && c <= 0x45F) {
    return c - 80;
  }
  return c >= 0x561 && c <= 0x586 ? c - 48 : c;
}

void append_scalar(std::uint32_t c, std::string& out) {
  if (c < 0x80) {
    out.push_back(static_cast<char>(c));
  } else if (c < 0x800) {
    out.push_back(static_cast<char>(0xC0 | (c >> 6)));
    out.push_back(static_cast<char>(0x80 | (c & 0x3F)));
  } else {
    out.push_back(static_cast<char>(0xE0 | (c >> 12)));
    out.push_back(static_cast<char>(0x80 | ((c >> 6) & 0x3F)));
    out.push_back(static_cast<char>(0x80 | (c & 0x3F)));
  }
}

std::string map_scalars(std::string_view text, std::uint32_t (*map)(std::uint32_t)) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t length = sequence_length(text, at);
    if (length == 4 || (length == 1 && static_cast<unsigned char>(text[at]) >= 0x80)) {
      out.append(text.substr(at, length));
    } else {
      append_scalar(map(scalar_at(text, at, length)), out);
    }
    at += length;
  }
  return out;
}

bool is_ascii(std::string_view text) {
  return std::all_of(text.begin(), text.end(),
                     [](char c) { return static_cast<unsigned char>(c) < 0x80; });
}

char fold(char c) {
  if (c >= 'A' && c <= 'Z') {
    return static_cast<char>(c + 32);
  }
  return c == '\t' || c == '\n' || c == '\r' ? ' ' : c;
}

bool equal_folded(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](char x, char y) { return fold(x) == fold(y); });
}

}  // namespace

std::string to_lower(std::string_view text) {
  return map_scalars(text, lower_scalar);
}
std::string to_upper(std::string_view text) {
  return map_scalars(text, upper_scalar);
}

bool equal_loosely(std::string_view a, std::string_view b) {
  if (is_ascii(a) && is_ascii(b)) {
    return equal_folded(a, b);
  }
  return equal_folded(to_lower(a), to_lower(b));
}

std::size_t sequence_length(std::string_view text, std::size_t at) {
  const auto lead = static_cast<unsigned char>(text[at]);
  const std::size_t length = lead < 0x80 ? 1 : (lead < 0xE0 ? 2 : (lead < 0xF0 ? 3 : 4));
  return at + length <= text.size() ? length : 1;
}

std::size_t offset_of_scalar(std::string_view text, std::size_t index) {
  std::size_t at = 0;
  for (; index > 0 && at < text.size(); --index) {
    at += sequence_length(text, at);
  }
  return at;
}

}  // namespace engine::fhirpath
