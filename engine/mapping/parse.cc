#include "engine/mapping/parse.h"

#include <utility>

#include "engine/base/limits.h"
#include "engine/base/utf8.h"
#include "engine/mapping/parser.h"

namespace engine::mapping {

using base::Error;
using base::ErrorCode;
using base::Result;

Parser::Parser(std::string_view text, std::string file) : lexer_(text) {
  map_.file = std::move(file);
}

void Parser::advance() {
  if (failed()) {
    return;
  }
  Result<Token> next = lexer_.next();
  if (!next) {
    fail_at(lexer_.error_offset(), next.error().detail);
    return;
  }
  token_ = std::move(*next);
}

Token Parser::peek() {
  const std::size_t here = lexer_.offset();
  Result<Token> next = lexer_.next();
  lexer_.seek(here);
  return next ? std::move(*next) : Token{};
}

bool Parser::accept(std::string_view symbol) {
  if (!token_.is(symbol)) {
    return false;
  }
  advance();
  return true;
}

bool Parser::accept_word(std::string_view word) {
  if (!token_.is_word(word)) {
    return false;
  }
  advance();
  return true;
}

void Parser::expect(std::string_view symbol) {
  if (!accept(symbol)) {
    fail("'" + std::string(symbol) + "' is expected here, not " + shown());
  }
}

bool Parser::at_name() const {
  return token_.kind == TokenKind::kName || token_.kind == TokenKind::kQuotedName;
}

std::string Parser::expect_name(std::string_view what) {
  if (!at_name()) {
    fail(std::string(what) + " is expected here, not " + shown());
    return {};
  }
  std::string name = token_.text;
  advance();
  return name;
}

std::string Parser::expect_string(std::string_view what) {
  if (token_.kind != TokenKind::kDoubleString && token_.kind != TokenKind::kString) {
    fail(std::string(what) + " is expected here, in quotation marks, not " + shown());
    return {};
  }
  std::string text = token_.text;
  advance();
  return text;
}

void Parser::fail(std::string message, ErrorCode code) {
  fail_at(token_.begin, std::move(message), code);
}

void Parser::fail_at(std::size_t offset, std::string message, ErrorCode code) {
  if (!failed()) {
    error_ = Error(code, std::move(message), place_text(map_.file, place_of(offset)));
  }
  token_ = Token{};
  token_.begin = token_.end = lexer_.text().size();
}

// What stands at the current token, for messages.
std::string Parser::shown() const {
  if (token_.kind == TokenKind::kEnd) {
    return "the end of the text";
  }
  constexpr std::size_t kShownBytes = 40;
  std::string text(lexer_.text().substr(token_.begin, token_.end - token_.begin));
  if (text.size() > kShownBytes) {
    std::size_t cut = kShownBytes;
    while (cut > 0 && (static_cast<unsigned char>(text[cut]) & 0xC0) == 0x80) {
      --cut;
    }
    text = text.substr(0, cut) + "...";
  }
  return "'" + text + "'";
}

Place Parser::place_of(std::size_t offset) {
  const std::string_view text = lexer_.text();
  if (offset < line_start_) {
    line_start_ = 0;
    line_ = 1;
  }
  for (std::size_t i = line_start_; i < offset && i < text.size(); ++i) {
    if (text[i] == '\n') {
      ++line_;
      line_start_ = i + 1;
    }
  }
  const std::size_t column = base::count_scalars(text.substr(line_start_, offset - line_start_));
  return {static_cast<std::uint32_t>(line_), static_cast<std::uint32_t>(column + 1)};
}

Result<Map> Parser::run() {
  if (const auto bad = base::find_invalid_utf8(lexer_.text())) {
    return Error(ErrorCode::kInvalid, "the text is not UTF-8",
                 place_text(map_.file, {1, static_cast<std::uint32_t>(*bad + 1)}));
  }
  advance();
  // The dialects order these differently, and real files mix them; only groups must come last.
  while (!failed() && !token_.is_word("group") && token_.kind != TokenKind::kEnd) {
    if (token_.kind == TokenKind::kMetadata) {
      metadata_line();
    } else if (token_.is_word("map")) {
      map_declaration();
    } else if (token_.is_word("conceptmap")) {
      concept_map();
    } else if (token_.is_word("uses")) {
      use();
    } else if (token_.is_word("imports")) {
      import();
    } else if (token_.is_word("let") || token_.is_word("const")) {
      constant();
    } else {
      fail("'map', 'conceptmap', 'uses', 'imports', 'let' or 'group' is expected here, not " +
           shown());
    }
  }
  while (!failed() && token_.kind != TokenKind::kEnd) {
    if (token_.kind == TokenKind::kMetadata) {
      fail("a line of metadata (///) stands before the groups; write // for a comment");
    } else if (token_.is_word("group")) {
      map_.groups.push_back(group());
    } else {
      fail("'group' is expected here, not " + shown());
    }
  }
  if (!failed() && map_.url.empty()) {
    fail_at(0, "the map has no url: begin with  map \"url\" = \"name\"  or  /// url = \"...\"");
  }
  if (!failed() && map_.groups.empty()) {
    fail_at(lexer_.text().size(), "the map has no group");
  }
  if (failed()) {
    return *std::move(error_);
  }
  name_rules(map_);
  return std::move(map_);
}

// A value is one literal; anything else is markdown up to the end of the line.
void Parser::metadata_line() {
  const std::string line = token_.text;
  const std::size_t begin = token_.begin + 3;
  const std::size_t equals = line.find('=');
  const auto trim = [](std::string_view text) {
    while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) {
      text.remove_prefix(1);
    }
    while (!text.empty() && (text.back() == ' ' || text.back() == '\t' || text.back() == '\r')) {
      text.remove_suffix(1);
    }
    return std::string(text);
  };
  if (equals == std::string::npos) {
    fail("a line of metadata is  /// path = value");
    return;
  }
  Metadata item{trim(std::string_view(line).substr(0, equals)),
                trim(std::string_view(line).substr(equals + 1))};
  if (!item.value.empty() && (item.value.front() == '"' || item.value.front() == '\'')) {
    Lexer value(item.value);
    Result<Token> token = value.next();
    if (!token) {
      fail_at(begin + equals + 1, token.error().detail);
      return;
    }
    item.value = token->text;
  }
  if (item.path == "url") {
    map_.url = item.value;
  } else if (item.path == "name") {
    map_.name = item.value;
  } else if (item.path == "title") {
    map_.title = item.value;
  } else if (item.path == "status") {
    map_.status = item.value;
  } else if (item.path == "description") {
    map_.description = item.value;
  } else {
    map_.metadata.push_back(std::move(item));
  }
  advance();
}

void Parser::map_declaration() {
  advance();
  map_.url = expect_string("the map's url");
  expect("=");
  if (at_name()) {
    map_.name = expect_name("the map's name");
  } else {
    map_.name = expect_string("the map's name");
  }
  accept(";");
}

void Parser::concept_map() {
  EmbeddedConceptMap table;
  table.place = place();
  advance();
  table.id = expect_string("the concept map's id");
  if (!table.id.empty() && table.id.front() == '#') {
    table.id.erase(0, 1);
  }
  std::vector<std::pair<std::string, std::string>> prefixes;
  const auto url_of = [&](const std::string& prefix) -> std::string {
    for (const auto& [name, url] : prefixes) {
      if (name == prefix) {
        return url;
      }
    }
    fail("the prefix '" + prefix + "' has no  prefix " + prefix + " = \"url\"  before it");
    return {};
  };
  expect("{");
  while (!failed() && !token_.is("}")) {
    if (accept_word("prefix")) {
      const std::size_t begin = token_.begin;
      std::string name = expect_name("a prefix");
      for (const auto& [known, url] : prefixes) {
        if (known == name) {
          fail_at(begin, "the prefix '" + name + "' is given twice");
        }
      }
      expect("=");
      prefixes.emplace_back(std::move(name), expect_string("the code system's url"));
      accept(";");
    } else if (token_.is_word("unmapped") && peek().is_word("for")) {
      advance();
      advance();
      const std::string prefix = expect_name("a prefix");
      expect("=");
      if (!accept_word("provided")) {
        fail("'provided' is expected here, not " + shown());
      }
      table.provide(url_of(prefix));
      accept(";");
    } else {
      code_map(table, prefixes);
    }
  }
  expect("}");
  map_.concept_maps.push_back(std::move(table));
}

namespace {

// The relation signs of the embedded form, as R4 equivalences. "-" is the current grammar's single
// sign: the codes correspond. R4 equivalence is read from target to source: "wider" means that the
// target is wider.
constexpr std::pair<std::string_view, std::string_view> kRelations[] = {
    {"-", "equivalent"}, {"==", "equal"},       {"=", "equivalent"},
    {"~", "relatedto"},  {"<=", "wider"},       {">=", "narrower"},
    {"<-", "subsumes"},  {">-", "specializes"}, {"!=", "disjoint"},
};

}  // namespace

// prefix:code relation prefix:code; a code is a word of any characters but space, or quoted.
void Parser::code_map(EmbeddedConceptMap& table,
                      const std::vector<std::pair<std::string, std::string>>& prefixes) {
  const auto side = [&](std::string& system, std::string& code) {
    const std::size_t begin = token_.begin;
    if (!at_name()) {
      fail("a row of the concept map is expected here (prefix:code == prefix:code), not " +
           shown());
      return;
    }
    const std::string prefix = token_.text;
    lexer_.seek(token_.end);
    advance();
    if (!token_.is(":")) {
      fail("':' is expected after the prefix, not " + shown());
      return;
    }
    const Token quoted = peek();
    if (quoted.kind == TokenKind::kDoubleString || quoted.kind == TokenKind::kString) {
      advance();
      code = token_.text;
    } else {
      code = lexer_.raw_code();
    }
    for (const auto& [name, url] : prefixes) {
      if (name == prefix) {
        system = url;
        return;
      }
    }
    fail_at(begin,
            "the prefix '" + prefix + "' has no  prefix " + prefix + " = \"url\"  before it");
  };
  EmbeddedConcept row;
  side(row.source_system, row.source_code);
  if (failed()) {
    return;
  }
  advance();
  std::string sign;
  const std::size_t sign_begin = token_.begin;
  while (token_.kind == TokenKind::kSymbol && sign.size() < 2) {
    sign += token_.text;
    advance();
  }
  for (const auto& [text, equivalence] : kRelations) {
    if (text == sign) {
      row.equivalence = equivalence;
    }
  }
  if (row.equivalence.empty()) {
    fail_at(sign_begin, "a relation is expected here: == <= >= <- >- ~ != or -");
    return;
  }
  side(row.target_system, row.target_code);
  if (failed()) {
    return;
  }
  advance();
  accept(";");
  table.concepts.push_back(std::move(row));
}

void Parser::use() {
  Use use;
  use.place = place();
  advance();
  use.url = expect_string("the structure's url");
  if (accept_word("alias")) {
    use.alias = expect_name("the alias");
  }
  if (!accept_word("as")) {
    fail("'as source' or 'as target' is expected here, not " + shown());
  }
  if (accept_word("source")) {
    use.mode = UseMode::kSource;
  } else if (accept_word("queried")) {
    use.mode = UseMode::kQueried;
  } else if (accept_word("target")) {
    use.mode = UseMode::kTarget;
  } else if (accept_word("produced")) {
    use.mode = UseMode::kProduced;
  } else {
    fail("'source', 'queried', 'target' or 'produced' is expected here, not " + shown());
  }
  accept(";");
  map_.uses.push_back(std::move(use));
}

void Parser::import() {
  Import import;
  import.place = place();
  advance();
  import.url = expect_string("the url of a map");
  accept(";");
  if (import.url.find('*') != import.url.rfind('*')) {
    fail("an import may hold one '*'");
  }
  map_.imports.push_back(std::move(import));
}

void Parser::constant() {
  Constant constant;
  advance();
  constant.place = place();
  constant.name = expect_name("the constant's name");
  if (!token_.is("=")) {
    fail("'=' is expected here, not " + shown());
    return;
  }
  advance();
  constant.value =
      until([](const Token& token, const Token&) { return token.is(";"); }, "the constant's value");
  expect(";");
  map_.constants.push_back(std::move(constant));
}

GroupInput Parser::input() {
  GroupInput input;
  input.is_source = token_.is_word("source");
  if (!accept_word("source") && !accept_word("target")) {
    fail("'source' or 'target' is expected here, not " + shown());
  }
  input.place = place();
  input.name = expect_name("the input's name");
  if (accept(":")) {
    input.type = expect_name("a type");
    while (accept(".")) {
      input.type += "." + expect_name("a type");
    }
  }
  return input;
}

Group Parser::group() {
  Group group;
  advance();
  group.place = place();
  group.name = expect_name("the group's name");
  expect("(");
  do {
    group.inputs.push_back(input());
  } while (!failed() && accept(","));
  expect(")");
  if (token_.is_word("extends")) {
    advance();
    group.extends_place = place();
    group.extends = expect_name("the name of the extended group");
  }
  if (accept("<<")) {
    if (accept_word("types")) {
      group.type_mode = TypeMode::kTypes;
    } else if (accept_word("type")) {
      expect("+");
      group.type_mode = TypeMode::kTypeAndTypes;
    } else {
      fail("'types' or 'type+' is expected here, not " + shown());
    }
    expect(">>");
  }
  group.rules = block();
  accept(";");
  return group;
}

Result<Map> parse_map(std::string_view text, std::string file) {
  return Parser(text, std::move(file)).run();
}

}  // namespace engine::mapping
