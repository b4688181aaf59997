// Recursive descent over the grammar of FHIRPath 2.0.0, with a bound on depth, so that the
// recursion is bounded too.

#include <array>
#include <optional>
#include <utility>

#include "engine/base/limits.h"
#include "engine/fhirpath/program.h"
#include "engine/fhirpath/temporal.h"

namespace engine::fhirpath {
namespace {

struct Operator {
  std::string_view text;
  Op op;
  int precedence;  // the number in the specification's table; lower binds tighter
};

constexpr int kLoosest = 13;
constexpr int kTypePrecedence = 6;
constexpr Operator kOperators[] = {
    {"*", Op::kMultiply, 4},    {"/", Op::kDivide, 4},
    {"div", Op::kDiv, 4},       {"mod", Op::kMod, 4},
    {"+", Op::kAdd, 5},         {"-", Op::kSubtract, 5},
    {"&", Op::kConcatenate, 5}, {"is", Op::kIs, 6},
    {"as", Op::kAs, 6},         {"|", Op::kUnion, 7},
    {"<", Op::kLess, 8},        {"<=", Op::kLessEqual, 8},
    {">", Op::kGreater, 8},     {">=", Op::kGreaterEqual, 8},
    {"=", Op::kEqual, 9},       {"!=", Op::kNotEqual, 9},
    {"~", Op::kEquivalent, 9},  {"!~", Op::kNotEquivalent, 9},
    {"in", Op::kIn, 10},        {"contains", Op::kContains, 10},
    {"and", Op::kAnd, 11},      {"or", Op::kOr, 12},
    {"xor", Op::kXor, 12},      {"implies", Op::kImplies, 13},
};

// Words that are operators and nothing else; as names they have to be quoted.
constexpr std::array<std::string_view, 8> kReserved = {"div", "mod",     "and",  "or",
                                                       "xor", "implies", "true", "false"};

bool is_reserved(std::string_view word) {
  for (const std::string_view reserved : kReserved) {
    if (word == reserved) {
      return true;
    }
  }
  return false;
}

class Parser {
 public:
  Parser(std::string_view text, base::Arena& arena, bool prefix)
      : text_(text), arena_(arena), lexer_(text), prefix_(prefix) {
    advance();
  }

  Tree* whole() {
    Tree* tree = binary(kLoosest);
    if (token_.kind != TokenKind::kEnd) {
      refuse("an operator or the end of the expression");
    }
    return tree;
  }

  std::size_t prefix() {
    binary(kLoosest);
    return last_end_;
  }

 private:
  class Level {
   public:
    explicit Level(Parser& parser) : parser_(parser) {
      if (++parser_.level_ > base::limits::kExpressionDepthMax) {
        parser_.too_deep(parser_.token_.begin);
      }
    }
    ~Level() { --parser_.level_; }
    Level(const Level&) = delete;
    Level& operator=(const Level&) = delete;

   private:
    Parser& parser_;
  };

  [[noreturn]] void too_deep(std::size_t offset) {
    throw SyntaxError{offset,
                      "an expression nested deeper than " +
                          std::to_string(base::limits::kExpressionDepthMax) + " levels",
                      base::ErrorCode::kLimit};
  }

  [[noreturn]] void refuse(const std::string& expected) {
    if (pending_) {
      throw *pending_;
    }
    if (token_.kind == TokenKind::kEnd) {
      throw SyntaxError{token_.begin, expected + " is expected, not the end of the expression"};
    }
    const std::string_view found = text_.substr(token_.begin, token_.end - token_.begin);
    throw SyntaxError{token_.begin,
                      expected + " is expected, not '" + std::string(found.substr(0, 40)) + "'"};
  }

  void advance() {
    last_end_ = token_.end;
    if (!prefix_) {
      token_ = lexer_.next();
      return;
    }
    // What follows an embedded expression is another language's text; it may not even be tokens.
    try {
      token_ = lexer_.next();
    } catch (const SyntaxError& error) {
      pending_ = error;
      token_ = {TokenKind::kEnd, error.offset, error.offset, {}};
    }
  }

  bool at_symbol(std::string_view symbol) const {
    return token_.kind == TokenKind::kSymbol && token_.text == symbol;
  }
  bool accept(std::string_view symbol) {
    if (!at_symbol(symbol)) {
      return false;
    }
    advance();
    return true;
  }
  void expect(std::string_view symbol) {
    if (!accept(symbol)) {
      refuse("'" + std::string(symbol) + "'");
    }
  }

  Tree* make(Op op, std::size_t begin) {
    Tree* tree = arena_.make<Tree>();
    tree->op = op;
    tree->begin = static_cast<std::uint32_t>(begin);
    tree->end = static_cast<std::uint32_t>(last_end_);
    return tree;
  }

  void adopt(Tree* tree, const std::vector<Tree*>& args) {
    tree->count = static_cast<std::uint32_t>(args.size());
    tree->args = arena_.make_array<Tree*>(args.size());
    std::size_t deepest = 0;
    for (std::size_t i = 0; i < args.size(); ++i) {
      tree->args[i] = args[i];
      deepest = std::max<std::size_t>(deepest, args[i]->depth);
    }
    if (deepest >= base::limits::kExpressionDepthMax) {
      too_deep(tree->begin);
    }
    tree->depth = static_cast<std::uint16_t>(deepest + 1);
    tree->end = static_cast<std::uint32_t>(last_end_);
  }

  const Operator* current_operator() const {
    if (token_.kind != TokenKind::kSymbol && token_.kind != TokenKind::kIdentifier) {
      return nullptr;
    }
    if (prefix_ && token_.text == "-" && text_.substr(token_.begin).starts_with("->")) {
      return nullptr;  // the arrow of the mapping language
    }
    for (const Operator& candidate : kOperators) {
      if (candidate.text == token_.text) {
        return &candidate;
      }
    }
    return nullptr;
  }

  // Operands joined by operators that bind at least as tightly as `loosest`; all of them associate
  // to the left.
  Tree* binary(int loosest) {
    const Level level(*this);
    const std::size_t begin = token_.begin;
    Tree* left = unary();
    while (true) {
      const Operator* found = current_operator();
      if (found == nullptr || found->precedence > loosest) {
        return left;
      }
      advance();
      Tree* right =
          found->precedence == kTypePrecedence ? type_specifier() : binary(found->precedence - 1);
      Tree* tree = make(found->op, begin);
      adopt(tree, {left, right});
      left = tree;
    }
  }

  Tree* unary() {
    if (!at_symbol("-") && !at_symbol("+")) {
      return path();
    }
    const Level level(*this);
    const std::size_t begin = token_.begin;
    const Op op = at_symbol("-") ? Op::kNegate : Op::kPlus;
    advance();
    Tree* operand = unary();
    Tree* tree = make(op, begin);
    adopt(tree, {operand});
    return tree;
  }

  // A term and what follows it with dots and brackets.
  Tree* path() {
    const std::size_t begin = token_.begin;
    std::vector<Tree*> steps = {term()};
    while (true) {
      if (accept(".")) {
        steps.push_back(invocation(false));
      } else if (at_symbol("[")) {
        const std::size_t open = token_.begin;
        advance();
        Tree* index = binary(kLoosest);
        expect("]");
        Tree* subscript = make(Op::kSubscript, open);
        adopt(subscript, {index});
        steps.push_back(subscript);
      } else {
        break;
      }
    }
    if (steps.size() == 1) {
      return steps.front();
    }
    Tree* tree = make(Op::kPath, begin);
    adopt(tree, steps);
    return tree;
  }

  Tree* term() {
    switch (token_.kind) {
      case TokenKind::kIdentifier:
        if (token_.text == "true" || token_.text == "false") {
          return literal(Item::of_boolean(token_.text == "true"));
        }
        return invocation(true);
      case TokenKind::kDelimited:
      case TokenKind::kSpecial:
        return invocation(true);
      case TokenKind::kExternal:
        return variable();
      case TokenKind::kString:
        return literal(Item::of_string(unescaped()));
      case TokenKind::kInteger:
      case TokenKind::kLong:
      case TokenKind::kDecimal:
        return number();
      case TokenKind::kDate:
      case TokenKind::kDateTime:
      case TokenKind::kTime:
        return moment();
      default:
        break;
    }
    const std::size_t begin = token_.begin;
    if (accept("(")) {
      Tree* inner = binary(kLoosest);
      expect(")");
      return inner;
    }
    if (accept("{")) {
      expect("}");
      return make(Op::kEmpty, begin);
    }
    refuse("a value, a name or '('");
  }

  Tree* literal(Item item) {
    const std::size_t begin = token_.begin;
    advance();
    Tree* tree = make(Op::kLiteral, begin);
    tree->literal = item;
    return tree;
  }

  std::string_view unescaped() {
    if (token_.text.find('\\') == std::string_view::npos) {
      return arena_.copy(token_.text);
    }
    try {
      return arena_.copy(unescape(token_.text));
    } catch (SyntaxError& error) {
      error.offset += token_.begin + 1;
      throw;
    }
  }

  Tree* variable() {
    const std::size_t begin = token_.begin;
    const std::string_view name = unescaped();
    advance();
    Tree* tree = make(Op::kVariable, begin);
    tree->name = name;
    return tree;
  }

  // Days, hours ... after a number make it a quantity.
  std::optional<CalendarUnit> calendar_word() const {
    return token_.kind == TokenKind::kIdentifier ? parse_calendar_word(token_.text) : std::nullopt;
  }

  Tree* number() {
    const Token number = token_;
    const base::Result<base::Decimal> value = base::Decimal::parse(number.text);
    if (!value) {
      throw SyntaxError{number.begin, "a number of at most 38 digits is expected"};
    }
    advance();
    const std::optional<CalendarUnit> word = calendar_word();
    if (number.kind != TokenKind::kLong && (token_.kind == TokenKind::kString || word)) {
      auto* quantity =
          arena_.make<Quantity>(*value, word ? name_of(*word) : unescaped(), word.has_value());
      advance();
      Tree* tree = make(Op::kLiteral, number.begin);
      tree->literal = Item::of_quantity(quantity);
      return tree;
    }
    Tree* tree = make(Op::kLiteral, number.begin);
    if (number.kind == TokenKind::kDecimal) {
      tree->literal = Item::of_decimal(arena_.make<base::Decimal>(*value));
      return tree;
    }
    const std::optional<std::int64_t> whole = value->to_int64();
    // One more than the largest Integer, because a minus sign may stand before it.
    if (!whole || (number.kind == TokenKind::kInteger && *whole > std::int64_t{1} << 31)) {
      throw SyntaxError{number.begin, "an integer of at most 2147483647 is expected"};
    }
    tree->literal = Item::of_integer(*whole);
    tree->literal.length = number.kind == TokenKind::kLong ? 1 : 0;
    return tree;
  }

  Tree* moment() {
    const Token moment = token_;
    std::optional<Temporal> value;
    ItemKind kind = ItemKind::kDate;
    if (moment.kind == TokenKind::kDate) {
      value = parse_date(moment.text);
    } else if (moment.kind == TokenKind::kDateTime) {
      kind = ItemKind::kDateTime;
      value = parse_date_time(moment.text);
    } else {
      kind = ItemKind::kTime;
      value = parse_time(moment.text);
    }
    if (!value) {
      throw SyntaxError{moment.begin,
                        kind == ItemKind::kTime
                            ? "a time such as @T08:10 or @T08:10:30.5, without a zone, is expected"
                            : "a date that exists, such as @2026-03-02 or "
                              "@2026-03-02T08:10:00+01:00, is expected"};
    }
    return literal(Item::of_temporal(kind, *value));
  }

  // A name, a function call, or $this and its like. `root`: at the start of a path.
  Tree* invocation(bool root) {
    const Token name = token_;
    if (name.kind == TokenKind::kSpecial) {
      advance();
      return make(
          name.text == "$this" ? Op::kThis : (name.text == "$index" ? Op::kIndex : Op::kTotal),
          name.begin);
    }
    if (name.kind != TokenKind::kIdentifier && name.kind != TokenKind::kDelimited) {
      refuse("a name");
    }
    if (name.kind == TokenKind::kIdentifier && is_reserved(name.text)) {
      refuse("a name (a word such as '" + std::string(name.text) + "' needs back quotes)");
    }
    const std::string_view text = unescaped();
    advance();
    if (!at_symbol("(")) {
      Tree* tree = make(Op::kMember, name.begin);
      tree->name = text;
      tree->root = root;
      return tree;
    }
    advance();
    std::vector<Tree*> args;
    if (!at_symbol(")")) {
      do {
        args.push_back(argument(text));
      } while (accept(","));
    }
    expect(")");
    Tree* tree = make(Op::kFunction, name.begin);
    tree->name = text;
    tree->root = root;
    adopt(tree, args);
    return tree;
  }

  Tree* argument(std::string_view function) {
    const std::size_t begin = token_.begin;
    Tree* value = binary(kLoosest);
    if (function != "sort" || token_.kind != TokenKind::kIdentifier) {
      return value;
    }
    if (token_.text == "asc") {
      advance();
      return value;
    }
    if (token_.text != "desc") {
      return value;
    }
    advance();
    Tree* tree = make(Op::kDescending, begin);
    adopt(tree, {value});
    return tree;
  }

  // A name or a qualified name, kept as members; the analysis reads it.
  Tree* type_specifier() {
    const std::size_t begin = token_.begin;
    if (accept("(")) {
      Tree* inner = type_specifier();
      expect(")");
      return inner;
    }
    std::vector<Tree*> names;
    do {
      if (token_.kind != TokenKind::kIdentifier && token_.kind != TokenKind::kDelimited) {
        refuse("a type name");
      }
      const std::size_t at = token_.begin;
      const std::string_view name = unescaped();
      advance();
      Tree* member = make(Op::kMember, at);
      member->name = name;
      names.push_back(member);
      // What follows two names is a function on the result: `value is FHIR.Quantity.not()` is not
      // in the grammar.
    } while (names.size() < 2 && accept("."));
    if (names.size() == 1) {
      return names.front();
    }
    Tree* tree = make(Op::kPath, begin);
    adopt(tree, names);
    return tree;
  }

  std::string_view text_;
  base::Arena& arena_;
  Lexer lexer_;
  bool prefix_;
  Token token_;
  std::optional<SyntaxError> pending_;
  std::size_t last_end_ = 0;
  std::size_t level_ = 0;
};

void check_length(std::string_view text) {
  if (text.size() > base::limits::kExpressionBytesMax) {
    throw SyntaxError{0,
                      "an expression of more than " +
                          std::to_string(base::limits::kExpressionBytesMax) + " bytes",
                      base::ErrorCode::kLimit};
  }
}

}  // namespace

Tree* parse_tree(std::string_view text, base::Arena& arena) {
  check_length(text);
  return Parser(text, arena, false).whole();
}

std::size_t parse_tree_prefix(std::string_view text, base::Arena& arena) {
  return Parser(text.substr(0, base::limits::kExpressionBytesMax), arena, true).prefix();
}

}  // namespace engine::fhirpath
