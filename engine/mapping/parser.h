#pragma once
// The parser's shared state: one token of look-ahead over the lexer, and the errors. Its methods
// are spread over parse.cc (the file's frame) and parse_rules.cc (rules); the first error ends the
// parse.

#include <optional>
#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/mapping/ast.h"
#include "engine/mapping/lexer.h"

namespace engine::mapping {

class Parser {
 public:
  Parser(std::string_view text, std::string file);

  base::Result<Map> run();

 private:
  // Tokens. After an error the current token is kEnd, so every loop ends.
  const Token& token() const { return token_; }
  void advance();
  Token peek();
  bool accept(std::string_view symbol);
  bool accept_word(std::string_view word);
  void expect(std::string_view symbol);
  bool at_name() const;
  std::string expect_name(std::string_view what);
  std::string expect_string(std::string_view what);
  bool failed() const { return error_.has_value(); }
  void fail(std::string message, base::ErrorCode code = base::ErrorCode::kInvalid);
  void fail_at(std::size_t offset, std::string message,
               base::ErrorCode code = base::ErrorCode::kInvalid);
  std::string shown() const;
  Place place_of(std::size_t offset);
  Place place() { return place_of(token_.begin); }

  // The frame.
  void metadata_line();
  void map_declaration();
  void concept_map();
  void code_map(EmbeddedConceptMap& table, const std::vector<std::pair<std::string, std::string>>&);
  void use();
  void import();
  void constant();
  Group group();
  GroupInput input();

  // Rules.
  std::vector<Rule> block();
  void rule(std::vector<Rule>& out);
  bool batch(Rule& first, std::vector<Rule>& out);
  Source source();
  void source_conditions(Source& source);
  void cardinality(Source& source);
  Target target();
  void target_tail(Target& target);
  Transform transform();
  Transform call(std::string name, Place where);
  Argument argument();
  Argument literal();
  bool at_literal() const;
  Path path();
  void dependent(Rule& rule);
  Dependent dependent_call();
  std::string rule_name();

  // FHIRPath, cut out of the text. `bare` ends at the words and symbols that may follow a
  // condition.
  Expression parenthesised();
  Expression condition();
  Expression until(bool (*stops)(const Token&, const Token& previous), std::string_view what);

  Lexer lexer_;
  Map map_;
  Token token_;
  std::optional<base::Error> error_;
  std::size_t depth_ = 0;
  std::size_t line_start_ = 0;  // place_of() goes forward from here
  std::size_t line_ = 1;
};

}  // namespace engine::mapping
