#pragma once
// Tokens of the mapping language, made on demand. FHIRPath inside maps is cut out as text between
// tokens, so every FHIRPath token is known here too, at least as a symbol. Not thread safe; borrows
// the text. Source: FHIR mapping language, lexical rules; FHIRPath 2.0.0 grammar for strings and
// escapes.

#include <cstdint>
#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/mapping/ast.h"

namespace engine::mapping {

enum class TokenKind : std::uint8_t {
  kEnd,
  kName,          // a bare word, keywords included
  kQuotedName,    // `backticked`
  kString,        // 'single quoted'
  kDoubleString,  // "double quoted"
  kInteger,
  kDecimal,
  kDate,      // @2015-02-04T14:34:28Z
  kSymbol,    // punctuation; "->", "<<", ">>", "..", "==", "<=", ">=", "!=", "!~" are one token
  kMetadata,  // a line that starts with three slashes; text without them
};

struct Token {
  TokenKind kind = TokenKind::kEnd;
  std::string text;       // unescaped
  std::size_t begin = 0;  // byte offsets in the map's text
  std::size_t end = 0;

  bool is(std::string_view symbol) const { return kind == TokenKind::kSymbol && text == symbol; }
  bool is_word(std::string_view word) const { return kind == TokenKind::kName && text == word; }
};

class Lexer {
 public:
  explicit Lexer(std::string_view text) : text_(text) {}

  // Errors: kInvalid for a string or comment that does not end, or a byte that starts no token;
  // where is empty, error_offset() tells the place.
  base::Result<Token> next();
  std::size_t error_offset() const { return at_; }

  // The raw text from here to the next white space, ';' or '}': a code of an embedded concept map.
  std::string raw_code();

  std::size_t offset() const { return at_; }
  void seek(std::size_t offset) { at_ = offset; }
  std::string_view text() const { return text_; }

 private:
  base::Result<bool> skip_blank(Token& metadata);
  base::Result<Token> quoted(char quote, TokenKind kind);
  Token number();
  Token date();

  std::string_view text_;
  std::size_t at_ = 0;
};

// Decodes the escape at text[at] (the backslash); advances `at` past it and appends to out.
void unescape(std::string_view text, std::size_t& at, std::string& out);

}  // namespace engine::mapping
