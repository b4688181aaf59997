#include "engine/mapping/lexer.h"

#include <array>
#include <cstdint>

namespace engine::mapping {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

bool is_space(char c) {
  return c == ' ' || c == '\t' || c == '\r' || c == '\n' || c == '\f';
}
bool is_digit(char c) {
  return c >= '0' && c <= '9';
}
bool is_letter(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
}

constexpr std::array<std::string_view, 9> kPairs = {
    "->", "<<", ">>", "..", "==", "<=", ">=", "!=", "!~"};
constexpr std::string_view kSingles = "(){}[]<>=:;,.*+-/|&~%$^!#?";

void append_utf8(std::uint32_t scalar, std::string& out) {
  const auto put = [&out](std::uint32_t byte) { out.push_back(static_cast<char>(byte)); };
  if (scalar < 0x80) {
    put(scalar);
  } else if (scalar < 0x800) {
    put(0xC0 | (scalar >> 6));
    put(0x80 | (scalar & 0x3F));
  } else if (scalar < 0x10000) {
    put(0xE0 | (scalar >> 12));
    put(0x80 | ((scalar >> 6) & 0x3F));
    put(0x80 | (scalar & 0x3F));
  } else {
    put(0xF0 | (scalar >> 18));
    put(0x80 | ((scalar >> 12) & 0x3F));
    put(0x80 | ((scalar >> 6) & 0x3F));
    put(0x80 | (scalar & 0x3F));
  }
}

// The four hexadecimal digits at `at`; -1 when they are not.
int hex4(std::string_view text, std::size_t at) {
  if (at + 4 > text.size()) {
    return -1;
  }
  int value = 0;
  for (std::size_t i = at; i < at + 4; ++i) {
    const char c = text[i];
    int digit = 0;
    if (is_digit(c)) {
      digit = c - '0';
    } else if (c >= 'a' && c <= 'f') {
      digit = c - 'a' + 10;
    } else if (c >= 'A' && c <= 'F') {
      digit = c - 'A' + 10;
    } else {
      return -1;
    }
    value = value * 16 + digit;
  }
  return value;
}

// \uXXXX, with a following low surrogate joined; a lone surrogate becomes U+FFFD, so that the
// output stays UTF-8.
void unescape_unicode(std::string_view text, std::size_t& at, std::string& out) {
  const int first = hex4(text, at + 2);
  if (first < 0) {
    out.push_back('u');
    at += 2;
    return;
  }
  at += 6;
  std::uint32_t scalar = static_cast<std::uint32_t>(first);
  if (scalar >= 0xD800 && scalar < 0xDC00 && at + 1 < text.size() && text[at] == '\\' &&
      text[at + 1] == 'u') {
    const int second = hex4(text, at + 2);
    if (second >= 0xDC00 && second < 0xE000) {
      scalar = 0x10000 + ((scalar - 0xD800) << 10) + (static_cast<std::uint32_t>(second) - 0xDC00);
      at += 6;
    }
  }
  append_utf8(scalar >= 0xD800 && scalar < 0xE000 ? 0xFFFD : scalar, out);
}

}  // namespace

void unescape(std::string_view text, std::size_t& at, std::string& out) {
  if (at + 1 >= text.size()) {
    ++at;
    return;
  }
  const char c = text[at + 1];
  if (c == 'u') {
    unescape_unicode(text, at, out);
    return;
  }
  at += 2;
  switch (c) {
    case 'n':
      out.push_back('\n');
      break;
    case 'r':
      out.push_back('\r');
      break;
    case 't':
      out.push_back('\t');
      break;
    case 'f':
      out.push_back('\f');
      break;
    default:  // FHIRPath: the backslash of an unknown escape is dropped
      out.push_back(c);
  }
}

// Skips white space and comments; true when a metadata line was met instead.
Result<bool> Lexer::skip_blank(Token& metadata) {
  while (at_ < text_.size()) {
    if (is_space(text_[at_])) {
      ++at_;
      continue;
    }
    if (text_.substr(at_, 2) == "//") {
      std::size_t end = text_.find('\n', at_);
      end = end == std::string_view::npos ? text_.size() : end;
      const bool three = text_.substr(at_, 3) == "///" && text_.substr(at_, 4) != "////";
      if (three) {
        metadata.kind = TokenKind::kMetadata;
        metadata.begin = at_;
        metadata.text = std::string(text_.substr(at_ + 3, end - at_ - 3));
        metadata.end = at_ = end;
        return true;
      }
      at_ = end;
      continue;
    }
    if (text_.substr(at_, 2) == "/*") {
      const std::size_t end = text_.find("*/", at_ + 2);
      if (end == std::string_view::npos) {
        return Error{ErrorCode::kInvalid, "this comment has no end: write */ where it stops"};
      }
      at_ = end + 2;
      continue;
    }
    break;
  }
  return false;
}

Result<Token> Lexer::quoted(char quote, TokenKind kind) {
  Token token;
  token.kind = kind;
  token.begin = at_;
  std::size_t i = at_ + 1;
  while (i < text_.size() && text_[i] != quote) {
    if (text_[i] == '\\') {
      unescape(text_, i, token.text);
    } else {
      token.text.push_back(text_[i++]);
    }
  }
  if (i >= text_.size()) {
    return Error{ErrorCode::kInvalid,
                 std::string("this text has no end: the closing ") + quote + " is missing"};
  }
  at_ = token.end = i + 1;
  return token;
}

Token Lexer::number() {
  Token token;
  token.kind = TokenKind::kInteger;
  token.begin = at_;
  while (at_ < text_.size() && is_digit(text_[at_])) {
    ++at_;
  }
  if (at_ + 1 < text_.size() && text_[at_] == '.' && is_digit(text_[at_ + 1])) {
    token.kind = TokenKind::kDecimal;
    ++at_;
    while (at_ < text_.size() && is_digit(text_[at_])) {
      ++at_;
    }
  }
  token.end = at_;
  token.text = std::string(text_.substr(token.begin, at_ - token.begin));
  return token;
}

Token Lexer::date() {
  Token token;
  token.kind = TokenKind::kDate;
  token.begin = at_++;
  while (at_ < text_.size()) {
    const char c = text_[at_];
    const bool fraction = c == '.' && at_ + 1 < text_.size() && is_digit(text_[at_ + 1]);
    if (!is_digit(c) && c != '-' && c != ':' && c != 'T' && c != 'Z' && c != '+' && !fraction) {
      break;
    }
    ++at_;
  }
  token.end = at_;
  token.text = std::string(text_.substr(token.begin, at_ - token.begin));
  return token;
}

Result<Token> Lexer::next() {
  Token token;
  Result<bool> metadata = skip_blank(token);
  if (!metadata) {
    return std::move(metadata).error();
  }
  if (*metadata) {
    return token;
  }
  token.begin = token.end = at_;
  if (at_ >= text_.size()) {
    return token;
  }
  const char c = text_[at_];
  if (is_letter(c)) {
    while (at_ < text_.size() && (is_letter(text_[at_]) || is_digit(text_[at_]))) {
      ++at_;
    }
    token.kind = TokenKind::kName;
    token.end = at_;
    token.text = std::string(text_.substr(token.begin, at_ - token.begin));
    return token;
  }
  if (is_digit(c)) {
    return number();
  }
  if (c == '\'') {
    return quoted(c, TokenKind::kString);
  }
  if (c == '"') {
    return quoted(c, TokenKind::kDoubleString);
  }
  if (c == '`') {
    return quoted(c, TokenKind::kQuotedName);
  }
  if (c == '@') {
    return date();
  }
  token.kind = TokenKind::kSymbol;
  for (const std::string_view pair : kPairs) {
    if (text_.substr(at_, 2) == pair) {
      at_ = token.end = at_ + 2;
      token.text = std::string(pair);
      return token;
    }
  }
  if (kSingles.find(c) == std::string_view::npos) {
    return Error{ErrorCode::kInvalid, "no statement of the mapping language has this character"};
  }
  at_ = token.end = at_ + 1;
  token.text = std::string(1, c);
  return token;
}

std::string Lexer::raw_code() {
  const std::size_t begin = at_;
  while (at_ < text_.size() && !is_space(text_[at_]) && text_[at_] != ';' && text_[at_] != '}') {
    ++at_;
  }
  return std::string(text_.substr(begin, at_ - begin));
}

}  // namespace engine::mapping
