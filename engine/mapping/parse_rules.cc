// The parser's second half: rules, sources, targets, transforms, and cutting out FHIRPath.

#include <array>
#include <charconv>
#include <utility>

#include "engine/base/limits.h"
#include "engine/mapping/parser.h"

namespace engine::mapping {
namespace {

constexpr std::array<std::pair<std::string_view, SourceListMode>, 5> kSourceModes = {{
    {"first", SourceListMode::kFirst},
    {"not_first", SourceListMode::kNotFirst},
    {"last", SourceListMode::kLast},
    {"not_last", SourceListMode::kNotLast},
    {"only_one", SourceListMode::kOnlyOne},
}};

// What may follow a bare condition. A word after a dot is an element's name.
bool ends_condition(const Token& token, const Token& previous) {
  if (token.kind == TokenKind::kSymbol) {
    return token.text == "->" || token.text == "," || token.text == ";";
  }
  if (token.kind == TokenKind::kName && !previous.is(".")) {
    return token.text == "check" || token.text == "log" || token.text == "then" ||
           token.text == "where";
  }
  // The rule's name.
  return token.kind == TokenKind::kDoubleString && !previous.is("=") && !previous.is("!=") &&
         !previous.is("~") && !previous.is("&") && !previous.is("+");
}

bool ends_argument(const Token& token, const Token&) {
  return token.is(",") || token.is(")");
}

bool opens(const Token& token) {
  return token.is("(") || token.is("[") || token.is("{");
}
bool closes(const Token& token) {
  return token.is(")") || token.is("]") || token.is("}");
}

// "text" of older maps as a FHIRPath string.
void append_requoted(std::string_view inner, std::string& out) {
  out.push_back('\'');
  for (const char c : inner) {
    if (c == '\'') {
      out.push_back('\\');
    }
    out.push_back(c);
  }
  out.push_back('\'');
}

}  // namespace

// Collects the text up to a token, outside of all brackets, at which `stops` says true.
Expression Parser::until(bool (*stops)(const Token&, const Token& previous),
                         std::string_view what) {
  Expression expression;
  expression.place = place();
  std::size_t begin = token_.begin;
  std::size_t end = token_.begin;
  std::size_t depth = 0;
  Token previous;
  const std::string_view text = lexer_.text();
  while (!failed() && token_.kind != TokenKind::kEnd) {
    if (depth == 0 && (stops(token_, previous) || closes(token_))) {
      break;
    }
    depth += opens(token_) ? 1U : 0U;
    depth -= closes(token_) ? 1U : 0U;
    if (token_.kind == TokenKind::kDoubleString) {
      expression.text += text.substr(begin, token_.begin - begin);
      append_requoted(text.substr(token_.begin + 1, token_.end - token_.begin - 2),
                      expression.text);
      begin = token_.end;
    }
    end = token_.end;
    previous = token_;
    advance();
  }
  if (end > begin) {
    expression.text += text.substr(begin, end - begin);
  }
  if (!failed() && expression.text.empty()) {
    fail(std::string(what) + " is expected here, not " + shown());
  }
  return expression;
}

Expression Parser::parenthesised() {
  expect("(");
  Expression expression =
      until([](const Token&, const Token&) { return false; }, "a FHIRPath expression");
  expect(")");
  return expression;
}

Expression Parser::condition() {
  return until(ends_condition, "a FHIRPath expression");
}

std::vector<Rule> Parser::block() {
  std::vector<Rule> rules;
  if (++depth_ > base::limits::kMapNestingMax) {
    fail("rules are nested too deeply", base::ErrorCode::kLimit);
  }
  expect("{");
  while (!failed() && !token_.is("}")) {
    if (token_.kind == TokenKind::kEnd) {
      fail("'}' is expected here: a group or a nested rule has no end");
      break;
    }
    if (token_.kind == TokenKind::kMetadata) {
      advance();  // three slashes inside a group are a comment
      continue;
    }
    rule(rules);
  }
  expect("}");
  --depth_;
  return rules;
}

std::string Parser::rule_name() {
  if (token_.kind == TokenKind::kDoubleString) {
    return expect_string("the rule's name");
  }
  return {};
}

void Parser::rule(std::vector<Rule>& out) {
  Rule rule;
  rule.place = place();
  do {
    rule.sources.push_back(source());
  } while (!failed() && accept(","));
  if (accept("->")) {
    do {
      rule.targets.push_back(target());
    } while (!failed() && accept(","));
    if (token_.is(":") && batch(rule, out)) {
      return;
    }
  }
  if (token_.is_word("then")) {
    dependent(rule);
  }
  rule.name = rule_name();
  expect(";");
  out.push_back(std::move(rule));
}

// src -> tgt : a, b;  stands for  src.a -> tgt.a; src.b -> tgt.b;
bool Parser::batch(Rule& first, std::vector<Rule>& out) {
  const bool plain = first.sources.size() == 1 && first.targets.size() == 1 &&
                     first.sources[0].variable.empty() && first.targets[0].variable.empty() &&
                     first.targets[0].path.has_value() && !first.targets[0].transform &&
                     !first.targets[0].list.any();
  if (!plain) {
    fail("the form  source -> target : a, b;  takes one plain source and one plain target");
    return false;
  }
  advance();
  std::vector<std::pair<std::string, Place>> elements;
  do {
    const Place where = place();
    elements.emplace_back(expect_name("an element"), where);
  } while (!failed() && accept(","));
  const std::string name = rule_name();
  expect(";");
  for (const auto& [element, where] : elements) {
    Rule rule = first;
    rule.place = where;
    rule.name = name.empty() ? std::string() : name + "-" + element;
    rule.sources[0].path.elements.push_back(element);
    rule.sources[0].path.element_places.push_back(where);
    rule.targets[0].path->elements.push_back(element);
    rule.targets[0].path->element_places.push_back(where);
    out.push_back(std::move(rule));
  }
  return true;
}

Path Parser::path() {
  Path path;
  path.place = place();
  path.context = expect_name("a variable");
  while (!failed() && accept(".")) {
    path.element_places.push_back(place());
    if (accept("*")) {
      path.elements.emplace_back(accept("*") ? "**" : "*");
    } else if (token_.kind == TokenKind::kDoubleString) {
      path.elements.push_back(expect_string("an element"));
    } else {
      path.elements.push_back(expect_name("an element"));
    }
  }
  return path;
}

void Parser::cardinality(Source& source) {
  const auto number = [this]() -> std::uint32_t {
    std::uint32_t value = 0;
    const std::string& text = token_.text;
    const auto parsed = std::from_chars(text.data(), text.data() + text.size(), value);
    if (token_.kind != TokenKind::kInteger || parsed.ec != std::errc()) {
      fail("a number of items is expected here, not " + shown());
    }
    advance();
    return value;
  };
  source.has_cardinality = true;
  source.min = number();
  expect("..");
  if (!accept("*")) {
    source.max = number();
    if (!failed() && *source.max < *source.min) {
      fail("the upper number of items is smaller than the lower one");
    }
  }
}

Source Parser::source() {
  Source source;
  source.place = place();
  source.path = path();
  if (accept(":")) {
    source.type = expect_name("a type");
    while (accept(".")) {
      source.type += "." + expect_name("a type");
    }
  }
  if (token_.kind == TokenKind::kInteger) {
    cardinality(source);
  }
  if (accept_word("default")) {
    if (token_.is("(")) {
      Argument value;
      value.kind = ArgumentKind::kExpression;
      value.place = place();
      value.expression = parenthesised();
      source.default_value = std::move(value);
    } else if (at_literal()) {
      source.default_value = literal();
    } else {
      fail("a literal or an expression in parentheses is expected here, not " + shown());
    }
  }
  for (const auto& [word, mode] : kSourceModes) {
    if (token_.is_word(word)) {
      source.list_mode = mode;
      advance();
      break;
    }
  }
  if (accept_word("as")) {
    source.variable = expect_name("a variable");
  }
  source_conditions(source);
  return source;
}

void Parser::source_conditions(Source& source) {
  while (!failed()) {
    std::optional<Expression>* slot = nullptr;
    if (token_.is_word("where")) {
      slot = &source.where;
    } else if (token_.is_word("check")) {
      slot = &source.check;
    } else if (token_.is_word("log")) {
      slot = &source.log;
    } else {
      return;
    }
    if (slot->has_value()) {
      fail("this source has a '" + token_.text + "' already");
      return;
    }
    advance();
    *slot = condition();
  }
}

bool Parser::at_literal() const {
  switch (token_.kind) {
    case TokenKind::kString:
    case TokenKind::kDoubleString:
    case TokenKind::kInteger:
    case TokenKind::kDecimal:
      return true;
    case TokenKind::kName:
      return token_.text == "true" || token_.text == "false";
    default:
      return token_.is("-");
  }
}

Argument Parser::literal() {
  Argument argument;
  argument.place = place();
  const bool negative = accept("-");
  Literal& value = argument.literal;
  switch (token_.kind) {
    case TokenKind::kInteger:
      value.kind = LiteralKind::kInteger;
      break;
    case TokenKind::kDecimal:
      value.kind = LiteralKind::kDecimal;
      break;
    case TokenKind::kName:
      value.kind = LiteralKind::kBoolean;
      break;
    default:
      value.kind = LiteralKind::kString;
  }
  const bool is_number = value.kind == LiteralKind::kInteger || value.kind == LiteralKind::kDecimal;
  if (negative && !is_number) {
    fail("a number is expected after '-', not " + shown());
    return argument;
  }
  value.text = (negative ? "-" : "") + token_.text;
  advance();
  return argument;
}

// A literal or a path when it is nothing more; otherwise FHIRPath up to the comma or the
// parenthesis.
Argument Parser::argument() {
  const std::size_t begin = token_.begin;
  const Token first = token_;
  if (at_literal()) {
    Argument value = literal();
    if (failed() || ends_argument(token_, first)) {
      return value;
    }
  } else if (at_name()) {
    Argument value;
    value.kind = ArgumentKind::kPath;
    value.place = place();
    bool simple = true;
    const Token after = peek();
    if (after.is(".") || after.is(",") || after.is(")")) {
      value.path.place = value.place;
      value.path.context = token_.text;
      advance();
      while (simple && token_.is(".")) {
        advance();
        simple = at_name();
        if (simple) {
          value.path.element_places.push_back(place());
          value.path.elements.push_back(token_.text);
          advance();
        }
      }
      if (simple && ends_argument(token_, first)) {
        return value;
      }
    }
  }
  if (failed()) {
    return {};
  }
  lexer_.seek(begin);
  advance();
  Argument value;
  value.kind = ArgumentKind::kExpression;
  value.place = place();
  value.expression = until(ends_argument, "an argument");
  return value;
}

Transform Parser::call(std::string name, Place where) {
  Transform transform;
  transform.name = std::move(name);
  transform.place = where;
  expect("(");
  if (!token_.is(")")) {
    do {
      transform.arguments.push_back(argument());
    } while (!failed() && accept(","));
  }
  expect(")");
  return transform;
}

Transform Parser::transform() {
  const Place where = place();
  if (token_.is("(")) {
    Argument value;
    value.kind = ArgumentKind::kExpression;
    value.place = where;
    value.expression = parenthesised();
    return {"evaluate", {std::move(value)}, where};
  }
  if (at_literal()) {
    return {"copy", {literal()}, where};
  }
  if (token_.kind == TokenKind::kDate) {
    Argument value;
    value.kind = ArgumentKind::kExpression;
    value.place = where;
    value.expression = {token_.text, where};
    advance();
    return {"evaluate", {std::move(value)}, where};
  }
  if (token_.kind == TokenKind::kName && peek().is("(")) {
    std::string name = token_.text;
    advance();
    return call(std::move(name), where);
  }
  Argument value;
  value.kind = ArgumentKind::kPath;
  value.place = where;
  value.path = path();
  return {"copy", {std::move(value)}, where};
}

Target Parser::target() {
  Target target;
  target.place = place();
  const bool is_call = token_.kind == TokenKind::kName && peek().is("(");
  if (token_.is("(") || is_call) {
    target.transform = transform();
  } else {
    target.path = path();
    if (accept("=")) {
      target.transform = transform();
    }
  }
  target_tail(target);
  return target;
}

void Parser::target_tail(Target& target) {
  while (!failed()) {
    if (accept_word("as")) {
      target.variable = expect_name("a variable");
    } else if (accept_word("first")) {
      target.list.first = true;
    } else if (accept_word("last")) {
      target.list.last = true;
    } else if (accept_word("collate")) {
      target.list.collate = true;
    } else if (accept_word("single")) {
      target.list.single = true;
    } else if (accept_word("share")) {
      target.list.share =
          at_name() ? expect_name("an id") : expect_string("the id of the shared rule list");
    } else {
      return;
    }
  }
}

Dependent Parser::dependent_call() {
  const Place where = place();
  std::string name = expect_name("the name of a group");
  Transform parsed = call(std::move(name), where);
  return {std::move(parsed.name), std::move(parsed.arguments), where};
}

void Parser::dependent(Rule& rule) {
  advance();
  if (!token_.is("{")) {
    do {
      rule.dependents.push_back(dependent_call());
      // The grammar has no comma before the block; people write one.
    } while (!failed() && accept(",") && !token_.is("{"));
  }
  if (token_.is("{")) {
    rule.rules = block();
  }
}

}  // namespace engine::mapping
