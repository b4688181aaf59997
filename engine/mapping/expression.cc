#include "engine/mapping/expression.h"

#include <algorithm>
#include <array>
#include <charconv>

#include "engine/mapping/lexer.h"

namespace engine::mapping {

using base::Error;
using base::ErrorCode;
using base::Result;
using shapes::kNoType;
using shapes::TypeId;

ElementVocabulary::ElementVocabulary(const shapes::TypeModel& model) {
  for (std::size_t i = 0; i < model.size(); ++i) {
    for (const shapes::Element& element : model.info(static_cast<TypeId>(i)).elements) {
      const TypeId type = element.members.size() == 1 ? element.members[0].type : kNoType;
      const bool single =
          type != kNoType && (model.info(type).kind == shapes::TypeKind::kPrimitive ||
                              model.info(type).kind == shapes::TypeKind::kSystem);
      const auto [at, fresh] = stems_.emplace(element.stem->text, single);
      at->second = at->second && single;
      if (!element.choice) {
        continue;
      }
      for (const shapes::Member& member : element.members) {
        if (member.type != kNoType) {
          choices_.emplace(member.name->text, std::string(element.stem->text) + ".ofType(" +
                                                  std::string(model.info(member.type).name) + ")");
        }
      }
    }
  }
}

const std::string* ElementVocabulary::typed_choice(std::string_view name) const {
  if (is_element(name)) {
    return nullptr;
  }
  const auto at = choices_.find(name);
  return at == choices_.end() ? nullptr : &at->second;
}

std::size_t Rewritten::original_offset(std::size_t offset) const {
  const Edit* best = nullptr;
  for (const Edit& edit : edits) {
    if (edit.at <= offset) {
      best = &edit;
    }
  }
  return best == nullptr ? offset : offset - best->at + best->original;
}

namespace {

constexpr std::array<std::string_view, 12> kOperatorWords = {
    "and", "or", "xor", "implies", "div", "mod", "in", "contains", "is", "as", "true", "false"};
constexpr std::array<std::string_view, 16> kCalendarWords = {
    "year", "years", "month",  "months",  "week",   "weeks",   "day",         "days",
    "hour", "hours", "minute", "minutes", "second", "seconds", "millisecond", "milliseconds"};

template <std::size_t N>
bool holds(const std::array<std::string_view, N>& words, std::string_view word) {
  return std::find(words.begin(), words.end(), word) != words.end();
}

enum class Bracket : std::uint8_t { kPlain, kArguments, kTypeName };

std::vector<Token> tokens_of(std::string_view text) {
  std::vector<Token> tokens;
  Lexer lexer(text);
  while (true) {
    Result<Token> token = lexer.next();
    if (!token || token->kind == TokenKind::kEnd) {
      return tokens;  // what is wrong with it, the FHIRPath parser says
    }
    tokens.push_back(std::move(*token));
  }
}

bool is_name(const Token& token) {
  return token.kind == TokenKind::kName || token.kind == TokenKind::kQuotedName;
}

bool is_number(const Token& token) {
  return token.kind == TokenKind::kInteger || token.kind == TokenKind::kDecimal;
}

class Rewriter {
 public:
  Rewriter(std::string_view text, const Scope& scope, const std::vector<std::string>& constants,
           const ElementVocabulary& vocabulary, const Program& program, TypeId focus,
           bool has_focus)
      : text_(text),
        scope_(scope),
        constants_(constants),
        vocabulary_(vocabulary),
        program_(program),
        focus_(focus),
        has_focus_(has_focus) {}

  Rewritten run() {
    const std::vector<Token> tokens = tokens_of(text_);
    for (std::size_t i = 0; i < tokens.size(); ++i) {
      const Token& token = tokens[i];
      if (token.is("(")) {
        brackets_.push_back(bracket_kind(tokens, i));
      } else if (token.is(")") && !brackets_.empty()) {
        brackets_.pop_back();
      } else if (is_name(token)) {
        name(tokens, i);
      }
    }
    copy_to(text_.size());
    return std::move(result_);
  }

 private:
  static Bracket bracket_kind(const std::vector<Token>& tokens, std::size_t i) {
    if (i == 0 || !is_name(tokens[i - 1]) || tokens[i - 1].is_word("and") ||
        holds(kOperatorWords, tokens[i - 1].text)) {
      const bool type_test = i > 1 && tokens[i - 2].is(".") &&
                             (tokens[i - 1].is_word("is") || tokens[i - 1].is_word("as"));
      return type_test ? Bracket::kTypeName : Bracket::kPlain;
    }
    if (tokens[i - 1].text == "ofType") {
      return Bracket::kTypeName;
    }
    // The arguments of a function called on something see its items; the others see what is
    // outside.
    return i > 1 && tokens[i - 2].is(".") ? Bracket::kArguments : Bracket::kPlain;
  }

  bool inside(Bracket kind) const {
    return std::find(brackets_.begin(), brackets_.end(), kind) != brackets_.end();
  }

  void name(const std::vector<Token>& tokens, std::size_t i) {
    const Token& token = tokens[i];
    const Token previous = i > 0 ? tokens[i - 1] : Token{};
    if (previous.is("%")) {
      use(token.text);
      return;
    }
    const bool call = i + 1 < tokens.size() && tokens[i + 1].is("(");
    if (previous.is("$") || call) {
      return;
    }
    if (previous.is(".") && token.text == "value" && i > 1 && of_single_value(tokens, i - 2)) {
      copy_to(previous.begin);
      copied_ = token.end;
      return;
    }
    if (previous.is(".")) {
      result_.names.push_back(token.text);
      choice(token);
      return;
    }
    const bool after_type_word =
        (previous.is_word("is") || previous.is_word("as")) && !(i > 1 && tokens[i - 2].is("."));
    const bool word = token.kind == TokenKind::kName && holds(kOperatorWords, token.text);
    const bool calendar = is_number(previous) && holds(kCalendarWords, token.text);
    if (after_type_word || word || calendar || inside(Bracket::kTypeName)) {
      return;
    }
    if (is_variable(token.text) && !focus_has(token.text)) {
      replace(token, token.kind == TokenKind::kName ? "%" + token.text : "%`" + token.text + "`");
      use(token.text);
      return;
    }
    result_.names.push_back(token.text);
    choice(token);
  }

  // The type at the end of a path of names that ends at token i; kNoType when it is not known.
  TypeId path_type(const std::vector<Token>& tokens, std::size_t i) const {
    std::size_t first = i;
    while (first > 1 && tokens[first - 1].is(".") && is_name(tokens[first - 2])) {
      first -= 2;
    }
    const bool after_call = first > 0 && tokens[first - 1].is(".");
    const bool sign = first > 0 && (tokens[first - 1].is("%") || tokens[first - 1].is("$"));
    const Variable* variable = after_call ? nullptr : scope_.find(tokens[first].text);
    TypeId type = has_focus_ && !after_call && !inside(Bracket::kArguments) ? focus_ : kNoType;
    if (variable != nullptr && (sign || !focus_has(tokens[first].text))) {
      type = variable->type;
      ++first;
    } else if (sign) {
      type = tokens[first].text == "this" ? type : kNoType;
      ++first;
    }
    for (std::size_t at = first; at <= i && type != kNoType; ++at) {
      if (!is_name(tokens[at])) {
        continue;
      }
      const json::Name* name = program_.catalog.names().find(tokens[at].text);
      const shapes::Element* element =
          name != nullptr ? program_.types.model().element(type, name) : nullptr;
      const bool one = element != nullptr && element->members.size() == 1;
      type = one ? element->members[0].type : kNoType;
    }
    return type;
  }

  // Whether the name before ".value" is a primitive, whose value FHIRPath gives without being
  // asked.
  bool of_single_value(const std::vector<Token>& tokens, std::size_t i) const {
    if (!is_name(tokens[i])) {
      return false;
    }
    const TypeId type = path_type(tokens, i);
    if (type != kNoType) {
      return program_.types.model().info(type).kind == shapes::TypeKind::kPrimitive;
    }
    return vocabulary_.is_single_value(tokens[i].text);
  }

  bool is_variable(const std::string& name) const {
    return scope_.find(name) != nullptr ||
           std::find(constants_.begin(), constants_.end(), name) != constants_.end();
  }

  // A child of the focus wins over a variable of the same name.
  bool focus_has(std::string_view name) const {
    if (inside(Bracket::kArguments)) {
      return vocabulary_.is_element(name);
    }
    if (!has_focus_ || focus_ == kNoType) {
      return false;
    }
    const json::Name* known = program_.catalog.names().find(name);
    return known != nullptr && program_.types.model().element(focus_, known) != nullptr;
  }

  void choice(const Token& token) {
    if (const std::string* typed = vocabulary_.typed_choice(token.text)) {
      replace(token, *typed);
    }
  }

  void use(const std::string& name) {
    if (is_variable(name) && std::find(result_.variables.begin(), result_.variables.end(), name) ==
                                 result_.variables.end()) {
      result_.variables.push_back(name);
    }
  }

  void copy_to(std::size_t offset) {
    result_.edits.push_back({result_.text.size(), copied_});
    result_.text += text_.substr(copied_, offset - copied_);
    copied_ = offset;
  }

  void replace(const Token& token, std::string_view with) {
    copy_to(token.begin);
    result_.edits.push_back({result_.text.size(), token.begin});
    result_.text += with;
    copied_ = token.end;
  }

  std::string_view text_;
  const Scope& scope_;
  const std::vector<std::string>& constants_;
  const ElementVocabulary& vocabulary_;
  const Program& program_;
  TypeId focus_;
  bool has_focus_;
  std::vector<Bracket> brackets_;
  Rewritten result_;
  std::size_t copied_ = 0;
};

// The map's place of a FHIRPath error, whose where is "line:column" of the rewritten text.
Place place_in_map(const Expression& expression, const Rewritten& rewritten,
                   std::string_view where) {
  std::size_t line = 0;
  std::size_t column = 0;
  const std::size_t colon = where.find(':');
  if (colon == std::string_view::npos) {
    return expression.place;
  }
  std::from_chars(where.data(), where.data() + colon, line);
  std::from_chars(where.data() + colon + 1, where.data() + where.size(), column);
  std::size_t offset = 0;
  for (std::size_t n = 1; n < line; ++n) {
    const std::size_t end = rewritten.text.find('\n', offset);
    if (end == std::string::npos) {
      return expression.place;
    }
    offset = end + 1;
  }
  for (std::size_t n = 1; n < column && offset < rewritten.text.size(); ++n) {
    ++offset;
    while (offset < rewritten.text.size() &&
           (static_cast<unsigned char>(rewritten.text[offset]) & 0xC0) == 0x80) {
      ++offset;
    }
  }
  const std::size_t original = std::min(rewritten.original_offset(offset), expression.text.size());
  const json::Position at = json::locate(expression.text, original);
  Place place = expression.place;
  place.column =
      static_cast<std::uint32_t>(at.line == 1 ? place.column + at.column - 1 : at.column);
  place.line += static_cast<std::uint32_t>(at.line - 1);
  return place;
}

}  // namespace

Rewritten rewrite_expression(std::string_view text, const Scope& scope,
                             const std::vector<std::string>& constants,
                             const ElementVocabulary& vocabulary, const Program& program,
                             TypeId focus, bool has_focus) {
  return Rewriter(text, scope, constants, vocabulary, program, focus, has_focus).run();
}

Result<CompiledExpression> compile_expression(const Expression& expression,
                                              const ExpressionContext& context,
                                              const ElementVocabulary& vocabulary,
                                              Program& program) {
  std::vector<std::string> constants;
  for (const auto& [name, value] : program.options.constants) {
    constants.push_back(name);
  }
  // Only those above this line of the map have a value already.
  for (std::size_t i = constants.size(); i < context.map->constants.size(); ++i) {
    constants.push_back(context.map->map.constants[i - program.options.constants.size()].name);
  }
  const Rewritten rewritten =
      rewrite_expression(expression.text, *context.scope, constants, vocabulary, program,
                         context.focus, context.has_focus);
  program.names_read.insert(rewritten.names.begin(), rewritten.names.end());
  std::vector<fhirpath::VariableDeclaration> declarations;
  std::vector<Slot> slots;
  for (const std::string& name : rewritten.variables) {
    if (const Variable* variable = context.scope->find(name)) {
      declarations.push_back({name, variable->type});
      slots.push_back(variable->slot);
    } else {
      const auto at = std::find(constants.begin(), constants.end(), name);
      declarations.push_back({name, kNoType});
      slots.push_back(static_cast<Slot>(kFirstConstant + (at - constants.begin())));
    }
  }
  fhirpath::Options options;
  options.types = &program.types;
  options.context_type = context.has_focus ? context.focus : kNoType;
  options.strict = true;
  options.variables = declarations;
  options.functions = program.functions;
  Result<fhirpath::Expression> compiled = fhirpath::compile(rewritten.text, options);
  if (!compiled) {
    const Place place = place_in_map(expression, rewritten, compiled.error().where);
    return Error(compiled.error().code, compiled.error().detail,
                 place_text(context.map->map.file, place));
  }
  return CompiledExpression{std::move(*compiled), std::move(slots), expression.place};
}

std::vector<fhirpath::HostFunction> adapt_functions(const LoadOptions& options) {
  std::vector<fhirpath::HostFunction> functions;
  for (const HostFunction& host : options.functions) {
    functions.push_back(
        {host.name, host.arguments_min, host.arguments_max,
         [name = host.name, call = host.call](
             fhirpath::Items, std::span<const fhirpath::Items> arguments,
             fhirpath::Workspace& workspace) -> Result<std::vector<fhirpath::Item>> {
           std::vector<std::optional<std::string>> texts;
           texts.reserve(arguments.size());
           for (const fhirpath::Items& argument : arguments) {
             if (argument.size() > 1) {
               return Error(ErrorCode::kInvalid, "an argument of " + name + "() has several items");
             }
             texts.push_back(argument.empty() ? std::nullopt
                                              : std::optional(fhirpath::to_text(argument[0])));
           }
           const void* context = static_cast<RunWorkspace&>(workspace).host_context;
           Result<std::optional<std::string>> answer = call(context, texts);
           if (!answer) {
             return std::move(answer).error();
           }
           if (!answer->has_value()) {
             return std::vector<fhirpath::Item>();
           }
           return std::vector<fhirpath::Item>{workspace.make_string(**answer)};
         }});
  }
  return functions;
}

}  // namespace engine::mapping
