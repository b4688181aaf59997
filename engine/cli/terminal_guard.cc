#include "engine/cli/terminal_guard.h"

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <new>

#include <unistd.h>

#include "engine/cli/shown_text.h"

namespace engine::cli {
namespace {

// ESC [ 0 m, and ESC [ 3 x m with one digit (ECMA-48 section 8.3.117).
constexpr std::string_view kEndOfColour = "\033[0m";
constexpr std::string_view kColour = "\033[3_m";

bool is_start_of(std::string_view text, std::string_view pattern) {
  const std::size_t n = std::min(text.size(), pattern.size());
  return std::equal(
      text.begin(), text.begin() + static_cast<std::ptrdiff_t>(n), pattern.begin(),
      [](char c, char wanted) { return wanted == '_' ? c >= '0' && c <= '7' : c == wanted; });
}

// Bytes of the colour that the text starts with; 0 for none.
std::size_t colour_bytes(std::string_view text) {
  for (const std::string_view pattern : {kEndOfColour, kColour}) {
    if (text.size() >= pattern.size() && is_start_of(text, pattern)) {
      return pattern.size();
    }
  }
  return 0;
}

// Whether more bytes could make something else of it: a colour, or a character of two or three
// bytes of those that shown_lines() takes out.
bool may_go_on(std::string_view text) {
  const bool colour = is_start_of(text, kEndOfColour) || is_start_of(text, kColour);
  const bool character =
      text == "\xC2" || text == "\xE2" || text == "\xE2\x80" || text == "\xE2\x81";
  return (colour && colour_bytes(text) == 0) || character;
}

// Of the stream's own: nothing else writes there.
ssize_t write_guarded(void* cookie, const char* bytes, std::size_t count) {
  const std::string out = static_cast<TerminalText*>(cookie)->take({bytes, count});
  std::string_view left = out;
  while (!left.empty()) {
    const ssize_t n = ::write(STDOUT_FILENO, left.data(), left.size());
    if (n < 0 && errno == EINTR) {
      continue;
    }
    if (n <= 0) {
      return 0;
    }
    left.remove_prefix(static_cast<std::size_t>(n));
  }
  return static_cast<ssize_t>(count);
}

}  // namespace

std::string TerminalText::take(std::string_view piece) {
  rest_.append(piece);
  std::string out;
  std::string_view text = rest_;
  while (!text.empty()) {
    const std::size_t plain = std::min(text.find_first_of("\033\xC2\xE2"), text.size());
    out += shown_lines(text.substr(0, plain));
    text.remove_prefix(plain);
    if (text.empty() || may_go_on(text)) {
      break;
    }
    const std::size_t colour = colour_bytes(text);
    const std::size_t bytes = colour > 0               ? colour
                              : text.front() == '\033' ? 1
                              : text.front() == '\xC2' ? 2
                                                       : 3;
    const std::string_view one = text.substr(0, bytes);
    out += colour > 0 ? std::string(one) : shown_lines(one);
    text.remove_prefix(one.size());
  }
  rest_ = std::string(text);
  return out;
}

void guard_terminal() {
  if (::isatty(STDOUT_FILENO) == 0) {
    return;
  }
  static TerminalText text;
  std::FILE* const guarded = ::fopencookie(&text, "w", {nullptr, write_guarded, nullptr, nullptr});
  if (guarded == nullptr) {
    throw std::bad_alloc();
  }
  std::setvbuf(guarded, nullptr, _IOLBF, BUFSIZ);
  stdout = guarded;
}

}  // namespace engine::cli
