#include "engine/fhirpath/lexer.h"

#include <array>

namespace engine::fhirpath {
namespace {

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}
bool is_word_start(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
}
bool is_word(char c) {
  return is_word_start(c) || is_digit(c);
}

int hex_value(char c) {
  if (is_digit(c)) {
    return c - '0';
  }
  if (c >= 'a' && c <= 'f') {
    return c - 'a' + 10;
  }
  if (c >= 'A' && c <= 'F') {
    return c - 'A' + 10;
  }
  return -1;
}

// The four digits of \uXXXX at the start of text; -1 when they are not there.
int code_unit(std::string_view text) {
  if (text.size() < 4) {
    return -1;
  }
  int value = 0;
  for (std::size_t i = 0; i < 4; ++i) {
    const int digit = hex_value(text[i]);
    if (digit < 0) {
      return -1;
    }
    value = value * 16 + digit;
  }
  return value;
}

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

// Appends the character of the \u escape whose digits start at `at` and returns where reading goes
// on. A high and a low surrogate combine; a lone one becomes the replacement character, since UTF-8
// cannot hold it.
std::size_t append_unicode_escape(std::string_view text, std::size_t at, std::string& out) {
  const int first = code_unit(text.substr(at));
  if (first < 0) {
    throw SyntaxError{at, "four hexadecimal digits are expected after \\u"};
  }
  at += 4;
  auto scalar = static_cast<std::uint32_t>(first);
  if (scalar >= 0xD800 && scalar <= 0xDFFF) {
    const bool paired = scalar < 0xDC00 && text.substr(at).starts_with("\\u");
    const int second = paired ? code_unit(text.substr(at + 2)) : -1;
    if (second >= 0xDC00 && second <= 0xDFFF) {
      scalar = 0x10000 + ((scalar - 0xD800) << 10) + (static_cast<std::uint32_t>(second) - 0xDC00);
      at += 6;
    } else {
      scalar = 0xFFFD;
    }
  }
  append_utf8(scalar, out);
  return at;
}

}  // namespace

void Lexer::skip_space() {
  while (at_ < text_.size()) {
    const char c = text_[at_];
    if (c == ' ' || c == '\t' || c == '\n' || c == '\r') {
      ++at_;
    } else if (c == '/' && peek(at_ + 1) == '/') {
      while (at_ < text_.size() && text_[at_] != '\n' && text_[at_] != '\r') {
        ++at_;
      }
    } else if (c == '/' && peek(at_ + 1) == '*') {
      const std::size_t close = text_.find("*/", at_ + 2);
      if (close == std::string_view::npos) {
        throw SyntaxError{at_, "a comment without its closing */"};
      }
      at_ = close + 2;
    } else if (text_.substr(at_).starts_with("\xC2\xA0")) {
      at_ += 2;  // a no-break space, which pasted text often has
    } else {
      return;
    }
  }
}

Token Lexer::next() {
  skip_space();
  const std::size_t begin = at_;
  if (begin >= text_.size()) {
    return token(TokenKind::kEnd, begin, begin, {});
  }
  const char c = text_[begin];
  if (is_word_start(c)) {
    const std::size_t end = word_end(begin);
    return token(TokenKind::kIdentifier, begin, end, text_.substr(begin, end - begin));
  }
  if (is_digit(c)) {
    return number(begin);
  }
  switch (c) {
    case '\'':
      return quoted(TokenKind::kString, begin, begin);
    case '`':
      return quoted(TokenKind::kDelimited, begin, begin);
    case '@':
      return moment(begin);
    case '%':
      return external(begin);
    case '$': {
      const std::size_t end = word_end(begin + 1);
      const std::string_view name = text_.substr(begin, end - begin);
      if (name != "$this" && name != "$index" && name != "$total") {
        throw SyntaxError{begin, "$this, $index or $total is expected"};
      }
      return token(TokenKind::kSpecial, begin, end, name);
    }
    default:
      return symbol(begin);
  }
}

Token Lexer::symbol(std::size_t begin) {
  constexpr std::array<std::string_view, 4> kPairs = {"<=", ">=", "!=", "!~"};
  for (const std::string_view pair : kPairs) {
    if (text_.substr(begin).starts_with(pair)) {
      return token(TokenKind::kSymbol, begin, begin + 2, pair);
    }
  }
  constexpr std::string_view kSingles = "+-*/&|<>=~.,()[]{}";
  if (kSingles.find(text_[begin]) == std::string_view::npos) {
    // A symbol of no expression; the parser decides whether that ends the text or is a mistake.
    return token(TokenKind::kSymbol, begin, begin + 1, {});
  }
  return token(TokenKind::kSymbol, begin, begin + 1, text_.substr(begin, 1));
}

std::size_t Lexer::digits(std::size_t at) const {
  while (is_digit(peek(at))) {
    ++at;
  }
  return at;
}

std::size_t Lexer::word_end(std::size_t at) const {
  while (is_word(peek(at))) {
    ++at;
  }
  return at;
}

Token Lexer::number(std::size_t begin) {
  std::size_t end = digits(begin);
  if (peek(end) == '.' && is_digit(peek(end + 1))) {
    end = digits(end + 1);
    return token(TokenKind::kDecimal, begin, end, text_.substr(begin, end - begin));
  }
  const std::string_view text = text_.substr(begin, end - begin);
  if (peek(end) == 'L' && !is_word(peek(end + 1))) {
    return token(TokenKind::kLong, begin, end + 1, text);
  }
  return token(TokenKind::kInteger, begin, end, text);
}

// @2015-02-04T14:34:28.123+10:00, @2015T, @T14:34; the value is checked by the parser.
Token Lexer::moment(std::size_t begin) {
  std::size_t end = begin + 1;
  bool has_date = false;
  if (is_digit(peek(end))) {
    has_date = true;
    end = digits(end);
    for (int part = 0; part < 2 && peek(end) == '-' && is_digit(peek(end + 1)); ++part) {
      end = digits(end + 1);
    }
  }
  if (peek(end) != 'T') {
    if (!has_date) {
      throw SyntaxError{begin,
                        "a date or time is expected after @, such as @2026-03-02 or @T08:10"};
    }
    return token(TokenKind::kDate, begin, end, text_.substr(begin + 1, end - begin - 1));
  }
  ++end;
  if (is_digit(peek(end))) {
    end = digits(end);
    while (peek(end) == ':' && is_digit(peek(end + 1))) {
      end = digits(end + 1);
    }
    if (peek(end) == '.' && is_digit(peek(end + 1))) {
      end = digits(end + 1);
    }
  }
  if (peek(end) == 'Z') {
    ++end;
  } else if ((peek(end) == '+' || peek(end) == '-') && is_digit(peek(end + 1)) &&
             is_digit(peek(end + 2)) && peek(end + 3) == ':') {
    end = digits(end + 4);
  }
  const TokenKind kind = has_date ? TokenKind::kDateTime : TokenKind::kTime;
  const std::size_t start = has_date ? begin + 1 : begin + 2;
  return token(kind, begin, end, text_.substr(start, end - start));
}

Token Lexer::quoted(TokenKind kind, std::size_t begin, std::size_t open) {
  const char quote = text_[open];
  for (std::size_t at = open + 1; at < text_.size(); ++at) {
    if (text_[at] == '\\') {
      ++at;
    } else if (text_[at] == quote) {
      return token(kind, begin, at + 1, text_.substr(open + 1, at - open - 1));
    }
  }
  throw SyntaxError{begin, std::string("a closing ") + quote + " is missing"};
}

Token Lexer::external(std::size_t begin) {
  const char c = peek(begin + 1);
  if (c == '`' || c == '\'' || c == '"') {
    return quoted(TokenKind::kExternal, begin, begin + 1);
  }
  // Names of R4's own expressions contain hyphens only in quotes; a bare one ends at the first.
  const std::size_t end = word_end(begin + 1);
  if (end == begin + 1) {
    throw SyntaxError{begin, "a variable name is expected after %"};
  }
  return token(TokenKind::kExternal, begin, end, text_.substr(begin + 1, end - begin - 1));
}

std::string unescape(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t i = 0; i < text.size();) {
    if (text[i] != '\\' || i + 1 == text.size()) {
      out.push_back(text[i++]);
      continue;
    }
    const char c = text[i + 1];
    i += 2;
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
      case 'u':
        i = append_unicode_escape(text, i, out);
        break;
      default:
        out.push_back(c);
    }
  }
  return out;
}

std::string place(std::string_view text, std::size_t offset, json::Position origin) {
  json::Position at = json::locate(text, offset);
  if (at.line == 1) {
    at.column += origin.column - 1;
  }
  at.line += origin.line - 1;
  return std::to_string(at.line) + ':' + std::to_string(at.column);
}

}  // namespace engine::fhirpath
