#include "engine/base/utf8.h"

#include <cstdint>
#include <cstring>

namespace engine::base {

std::optional<std::size_t> find_invalid_utf8(std::string_view text) {
  const char* const data = text.data();
  const std::size_t size = text.size();
  std::size_t i = 0;
  const auto byte = [&](std::size_t at) { return static_cast<unsigned char>(data[at]); };
  const auto continues = [&](std::size_t at) { return at < size && (byte(at) & 0xC0) == 0x80; };
  while (i < size) {
    // Clinical traffic is nearly all ASCII: thirty-two bytes a step while the high bits stay clear.
    while (i + 32 <= size) {
      std::uint64_t words[4];
      std::memcpy(words, data + i, 32);
      if (((words[0] | words[1] | words[2] | words[3]) & 0x8080808080808080ULL) != 0) {
        break;
      }
      i += 32;
    }
    if (i >= size) {
      break;
    }
    const unsigned char c = byte(i);
    if (c < 0x80) {
      ++i;
    } else if (c >= 0xC2 && c <= 0xDF) {
      if (!continues(i + 1)) {
        return i;
      }
      i += 2;
    } else if (c >= 0xE0 && c <= 0xEF) {
      if (!continues(i + 1) || !continues(i + 2)) {
        return i;
      }
      const unsigned char next = byte(i + 1);
      if ((c == 0xE0 && next < 0xA0) || (c == 0xED && next > 0x9F)) {
        return i;
      }
      i += 3;
    } else if (c >= 0xF0 && c <= 0xF4) {
      if (!continues(i + 1) || !continues(i + 2) || !continues(i + 3)) {
        return i;
      }
      const unsigned char next = byte(i + 1);
      if ((c == 0xF0 && next < 0x90) || (c == 0xF4 && next > 0x8F)) {
        return i;
      }
      i += 4;
    } else {
      return i;
    }
  }
  return std::nullopt;
}

bool has_control(std::string_view text) {
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto c = static_cast<unsigned char>(text[i]);
    const auto next = static_cast<unsigned char>(i + 1 < text.size() ? text[i + 1] : 0);
    const bool c1 = c == 0xC2 && next >= 0x80 && next < 0xA0;
    const std::string_view three = text.substr(i, 3);
    if (c < 0x20 || c == 0x7F || c1 || three == "\xE2\x80\xA8" || three == "\xE2\x80\xA9") {
      return true;
    }
  }
  return false;
}

bool is_one_line(std::string_view text) {
  return !has_control(text) && !find_invalid_utf8(text).has_value();
}

std::size_t count_scalars(std::string_view text) {
  std::size_t n = 0;
  for (const char c : text) {
    n += (static_cast<unsigned char>(c) & 0xC0) != 0x80 ? 1U : 0U;
  }
  return n;
}

}  // namespace engine::base
