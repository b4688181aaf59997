#pragma once
// Tokens of FHIRPath 2.0.0 (with the long-integer suffix of 3.0). Reads on demand, so that a
// language that embeds expressions can stop anywhere. Borrows the text.

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/json/document.h"

namespace engine::fhirpath {

enum class TokenKind : std::uint8_t {
  kEnd,
  kIdentifier,  // bare word; keywords are told apart by the parser
  kDelimited,   // `quoted` identifier
  kString,
  kInteger,
  kLong,
  kDecimal,
  kDate,
  kDateTime,
  kTime,
  kExternal,  // %name
  kSpecial,   // $this, $index, $total
  kSymbol,    // an operator or a bracket
};

struct Token {
  TokenKind kind = TokenKind::kEnd;
  std::size_t begin = 0;
  std::size_t end = 0;
  // The content: of strings and quoted identifiers between the quotes, escapes still in place; of
  // dates and times without @; of externals without %.
  std::string_view text;
};

// Thrown inside the folder; compile() and parse_prefix() turn it into an Error.
struct SyntaxError {
  std::size_t offset;
  std::string detail;
  base::ErrorCode code = base::ErrorCode::kInvalid;
};

class Lexer {
 public:
  explicit Lexer(std::string_view text) : text_(text) {}
  // Throws SyntaxError.
  Token next();

 private:
  void skip_space();
  Token number(std::size_t begin);
  Token moment(std::size_t begin);
  Token quoted(TokenKind kind, std::size_t begin, std::size_t open);
  Token external(std::size_t begin);
  Token symbol(std::size_t begin);
  std::size_t digits(std::size_t at) const;
  std::size_t word_end(std::size_t at) const;
  char peek(std::size_t at) const { return at < text_.size() ? text_[at] : '\0'; }
  Token token(TokenKind kind, std::size_t begin, std::size_t end, std::string_view content) {
    at_ = end;
    return {kind, begin, end, content};
  }

  std::string_view text_;
  std::size_t at_ = 0;
};

// Replaces the escapes of a string or quoted identifier; an unknown escape loses its backslash.
// Throws SyntaxError (offset relative to the text) for \u without four hexadecimal digits.
std::string unescape(std::string_view text);

// The place of an offset in a text that itself starts at `origin`, as "line:column".
std::string place(std::string_view text, std::size_t offset, json::Position origin);

}  // namespace engine::fhirpath
