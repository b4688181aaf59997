#include "engine/cli/shown_text.h"

#include <algorithm>
#include <utility>

#include <unistd.h>

namespace engine::cli {
namespace {

// Bytes at the start of the text that steer a terminal; 0 for none. C0, DEL, C1 (U+0080 to U+009F,
// which some terminals obey), the separators of lines and paragraphs (U+2028, U+2029), and those
// that turn the direction of what follows (UAX #9: U+202A to U+202E, U+2066 to U+2069).
std::size_t steering_bytes(std::string_view text) {
  const auto at = [&](std::size_t i) {
    return i < text.size() ? static_cast<unsigned char>(text[i]) : 0U;
  };
  if (at(0) < 0x20 || at(0) == 0x7F) {
    return 1;
  }
  if (at(0) == 0xC2 && at(1) >= 0x80 && at(1) <= 0x9F) {
    return 2;
  }
  const bool turns = at(0) == 0xE2 && ((at(1) == 0x80 && at(2) >= 0xA8 && at(2) <= 0xAE) ||
                                       (at(1) == 0x81 && at(2) >= 0xA6 && at(2) <= 0xA9));
  return turns ? 3 : 0;
}

std::string shown(std::string_view text, std::string_view kept) {
  std::string out;
  while (!text.empty()) {
    const bool keep = kept.find(text.front()) != std::string_view::npos;
    const std::size_t steering = keep ? 0 : steering_bytes(text);
    out += steering > 0 ? ' ' : text.front();
    text.remove_prefix(std::max<std::size_t>(steering, 1));
  }
  return out;
}

}  // namespace

std::string shown_text(std::string_view text) {
  return shown(text, "");
}

std::string shown_lines(std::string_view text) {
  return shown(text, "\n\t");
}

std::string for_stdout(std::string text) {
  return ::isatty(STDOUT_FILENO) != 0 ? shown_lines(text) : std::move(text);
}

}  // namespace engine::cli
