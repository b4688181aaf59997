// Reading exact JSON (RFC 8259) and refusing the rest.

#include <string>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::json {
namespace {

namespace limits = base::limits;

const NameTable& names() {
  static const NameTable table;
  return table;
}

std::string read_back(std::string_view text) {
  Document document(names());
  const base::Result<void> read = document.parse(text);
  return read ? to_text(*document.root()) : read.error().text();
}

TEST(JsonParse, KeepsWhatWasWritten) {
  struct Case {
    std::string_view text;
    std::string_view compact;
  };
  constexpr Case kCases[] = {
      {"null", "null"},
      {" true ", "true"},
      {"\t\r\n false\n", "false"},
      {"2.00", "2.00"},
      {"-0", "-0"},
      {"1E+5", "1E+5"},
      {"0.10e-7", "0.10e-7"},
      {"\"\"", "\"\""},
      {"[ ]", "[]"},
      {"{ }", "{}"},
      {"[1,\"1\",[2]]", "[1,\"1\",[2]]"},
      {R"({ "b" : 1 , "a" : { "c" : null } })", R"({"b":1,"a":{"c":null}})"},
      {R"({"a":1,"a":2})", R"({"a":1,"a":2})"},
      {R"("\u0041\u00e9\u20AC\ud83d\ude00")", "\"A\xC3\xA9\xE2\x82\xAC\xF0\x9F\x98\x80\""},
      {R"("\"\\\/\b\f\n\r\t\u0001\u0000")", R"("\"\\/\b\f\n\r\t\u0001\u0000")"},
      {"\"\xF0\x9F\x98\x80\x7F\"", "\"\xF0\x9F\x98\x80\x7F\""},
      {R"({"\u0061":1})", R"({"a":1})"},
      {R"({"":1})", R"({"":1})"},
  };
  for (const Case& c : kCases) {
    EXPECT_EQ(read_back(c.text), c.compact) << c.text;
  }
}

TEST(JsonParse, TellsANumberFromAString) {
  Document document(names());
  ASSERT_TRUE(document.parse(R"({"a":5,"b":"5"})").has_value());
  EXPECT_TRUE(document.root()->find("a")->is_number());
  EXPECT_TRUE(document.root()->find("b")->is_string());
  EXPECT_EQ(document.root()->string_at("b"), "5");
  EXPECT_EQ(document.root()->string_at("a"), "");
  EXPECT_EQ(document.root()->find("c"), nullptr);
}

TEST(JsonParse, RefusesAndNamesThePlace) {
  struct Case {
    std::string_view text;
    std::string_view where;
  };
  constexpr Case kCases[] = {
      {"", "1:1"},
      {"  \n ", "2:2"},
      {"{", "1:2"},
      {"[1,]", "1:4"},
      {"[1 2]", "1:4"},
      {"{\"a\"}", "1:5"},
      {"{\"a\":}", "1:6"},
      {"{\"a\":1,}", "1:8"},
      {"{a:1}", "1:2"},
      {"{'a':1}", "1:2"},
      {"{\n  \"a\": 1\n  \"b\": 2\n}", "3:3"},
      {"nul", "1:4"},
      {"True", "1:1"},
      {"01", "1:2"},
      {"+1", "1:1"},
      {".5", "1:1"},
      {"1.", "1:3"},
      {"1e", "1:3"},
      {"-", "1:2"},
      {"NaN", "1:1"},
      {"Infinity", "1:1"},
      {"1 1", "1:3"},
      {"{} x", "1:4"},
      {"// c\n1", "1:1"},
      {"\"abc", "1:5"},
      {"\"\\x\"", "1:2"},
      {"\"\\u12G4\"", "1:2"},
      {R"("\ud83d")", "1:2"},
      {R"("\ud83d\u0041")", "1:2"},
      {R"({"a": "\ude00"})", "1:8"},
      {R"("\ud83d\ude00\udc00")", "1:14"},
      {R"("\\\uDFFF")", "1:4"},
      {"\"a\nb\"", "1:3"},
      {"\"a\x01\"", "1:3"},
      {"\"\xC3\xA9\xFF\"", "1:3"},
      {"\xEF\xBB\xBF{}", "1:1"},
      {"[\"\xE2\x82\xAC\", x]", "1:7"},  // columns count characters, not bytes
  };
  for (const Case& c : kCases) {
    Document document(names());
    const base::Result<void> read = document.parse(c.text);
    ASSERT_FALSE(read.has_value()) << c.text;
    EXPECT_EQ(read.error().code, base::ErrorCode::kInvalid) << c.text;
    EXPECT_EQ(read.error().where, c.where) << c.text << ": " << read.error().detail;
    EXPECT_EQ(document.root(), nullptr) << c.text;
  }
}

TEST(JsonParse, RefusesNulBytes) {
  for (const std::string_view text :
       {std::string_view("\0", 1), std::string_view("1\0", 2), std::string_view("{}\0{}", 5),
        std::string_view("\"a\0b\"", 5), std::string_view("[1,\0]", 5)}) {
    Document document(names());
    EXPECT_FALSE(document.parse(text).has_value()) << testing::PrintToString(text);
  }
}

void expect_limit(const std::string& text, const ParseLimits& parse_limits = {}) {
  Document document(names());
  const base::Result<void> read = document.parse(text, parse_limits);
  ASSERT_FALSE(read.has_value());
  EXPECT_EQ(read.error().code, base::ErrorCode::kLimit) << read.error().text();
}

void expect_read(const std::string& text, const ParseLimits& parse_limits = {}) {
  Document document(names());
  const base::Result<void> read = document.parse(text, parse_limits);
  EXPECT_TRUE(read.has_value()) << (read ? "" : read.error().text());
}

TEST(JsonLimits, DepthOfArraysAndObjects) {
  const auto nested = [](std::size_t depth, bool objects) {
    std::string text;
    for (std::size_t i = 0; i < depth; ++i) {
      text += objects ? "{\"a\":" : "[";
    }
    text += "1";
    for (std::size_t i = 0; i < depth; ++i) {
      text += objects ? "}" : "]";
    }
    return text;
  };
  for (const bool objects : {false, true}) {
    expect_read(nested(limits::kJsonDepthMax - 1, objects));
    expect_read(nested(limits::kJsonDepthMax, objects));
    expect_limit(nested(limits::kJsonDepthMax + 1, objects));
    expect_limit(nested(10'000, objects));
  }
  // A million open brackets and nothing else: refused without walking the stack.
  expect_limit(std::string(1'000'000, '['));
}

TEST(JsonLimits, ItemsOfAnArray) {
  const auto items = [](std::size_t count) {
    std::string text = "[0";
    for (std::size_t i = 1; i < count; ++i) {
      text += ",0";
    }
    return text + "]";
  };
  expect_read(items(limits::kJsonArrayItemsMax - 1));
  expect_read(items(limits::kJsonArrayItemsMax));
  expect_limit(items(limits::kJsonArrayItemsMax + 1));
}

TEST(JsonLimits, CharactersOfANumber) {
  expect_read(std::string(limits::kNumberBytesMax - 1, '7'));
  expect_read(std::string(limits::kNumberBytesMax, '7'));
  expect_limit(std::string(limits::kNumberBytesMax + 1, '7'));
  expect_limit("[" + std::string(10'000, '7') + "]");
}

TEST(JsonLimits, SizeOfANumber) {
  expect_read("1e307");
  expect_read("1e308");
  expect_read("1e309");
  expect_read("[-1E999999999999999999999]");
  expect_read("1e-999999999999999999999");
}

// The scan for exponents knows where a string ends: \" ends none.
TEST(JsonLimits, ExponentsAreFoundBesideQuotationMarksInStrings) {
  NameTable names;
  for (const char* text : {R"({"a\"1":4,"b":1e599991})", R"({"a":"said \" 1e500","b":2e700})",
                           R"(["\\",1e400])", R"(["5e999\"","6e999 \"\"",7e999])"}) {
    Document document(names);
    const auto parsed = document.parse(text);
    ASSERT_TRUE(parsed) << text << ": " << parsed.error().text();
    EXPECT_EQ(to_text(*document.root()), text);
  }
}

TEST(JsonLimits, ExponentsBeyondADoubleKeepTheirDigits) {
  const std::string text = R"({"a":"1e999\\","b":[1.0E+401,-2e5,3e400],"c":1E-777})";
  NameTable names;
  Document document(names);
  ASSERT_TRUE(document.parse(text));
  EXPECT_EQ(to_text(*document.root()), text);
  EXPECT_FALSE(document.parse("[1e400,2e]"));
  EXPECT_FALSE(document.parse("[1e400,01]"));
  EXPECT_FALSE(document.parse("[1e400e5]"));
}

TEST(JsonLimits, BytesOfAString) {
  const auto quoted = [](std::size_t bytes) { return "\"" + std::string(bytes, 'x') + "\""; };
  expect_read(quoted(limits::kStringBytesMax - 1));
  expect_read(quoted(limits::kStringBytesMax));
  expect_limit(quoted(limits::kStringBytesMax + 1));
}

TEST(JsonLimits, BytesOfADocument) {
  ParseLimits small;
  small.bytes_max = 10;
  expect_read("[1,2,3,4]", small);
  expect_read("[1,2,3,40]", small);
  expect_limit("[1,2,3,400]", small);
}

TEST(JsonDuplicates, AreKeptAndListedInOrder) {
  Document document(names());
  ASSERT_TRUE(document.parse(R"({"a":1,"b":{"c":1,"c":2,"c":3},"a":2,"\u0061":3})").has_value());
  ASSERT_EQ(document.duplicates().size(), 4U);
  EXPECT_EQ(pointer_of(*document.duplicates()[0]), "/b/c");
  EXPECT_EQ(document.duplicates()[1]->text(), "3");
  EXPECT_EQ(document.duplicates()[2]->text(), "2");
  EXPECT_EQ(document.duplicates()[3]->text(), "3");
  EXPECT_EQ(document.root()->count, 4U);
  ASSERT_TRUE(document.parse(R"([{"a":1},{"a":1}])").has_value());
  EXPECT_TRUE(document.duplicates().empty());
}

TEST(JsonDuplicates, AreFoundInObjectsOfManyMembers) {
  std::string text = "{";
  for (int i = 0; i < 1000; ++i) {
    text += "\"m" + std::to_string(i) + "\":0,";
  }
  text += "\"m7\":1}";
  Document document(names());
  ASSERT_TRUE(document.parse(text).has_value());
  ASSERT_EQ(document.duplicates().size(), 1U);
  EXPECT_EQ(document.duplicates()[0]->name_text(), "m7");
}

TEST(JsonNames, ArePointersOfTheTableOrOfTheDocument) {
  NameTable table;
  const Name* status = table.intern("status");
  EXPECT_EQ(table.intern("status"), status);
  table.freeze();
  Document document(table);
  ASSERT_TRUE(document.parse(R"([{"status":1,"odd":2},{"odd":3}])").has_value());
  const Node& first = *document.root()->first;
  EXPECT_EQ(first.first->name, status);
  EXPECT_EQ(first.last->name->id, kLocalName);
  EXPECT_EQ(first.last->name, first.next->first->name);
  EXPECT_EQ(document.root()->first->find(status)->text(), "1");
}

TEST(JsonNames, ManyNamesKeepTheirIds) {
  NameTable table;
  for (int i = 0; i < 5000; ++i) {
    table.intern("name" + std::to_string(i));
  }
  const std::size_t before = table.size();
  for (int i = 0; i < 5000; ++i) {
    const std::string text = "name" + std::to_string(i);
    const Name* name = table.find(text);
    ASSERT_NE(name, nullptr);
    EXPECT_EQ(name->text, text);
    EXPECT_EQ(&table.at(name->id), name);
  }
  EXPECT_EQ(table.size(), before);
  EXPECT_EQ(table.find("absent"), nullptr);
}

TEST(JsonParse, ADocumentServesOneTextAfterAnother) {
  Document document(names());
  for (int i = 0; i < 200; ++i) {
    ASSERT_TRUE(document.parse(R"({"only":"here","n":)" + std::to_string(i) + "}").has_value());
    EXPECT_EQ(document.root()->find("n")->text(), std::to_string(i));
    ASSERT_FALSE(document.parse("{\"broken\":").has_value());
    EXPECT_EQ(document.root(), nullptr);
  }
}

TEST(JsonParse, NodesKnowWhereTheyStood) {
  constexpr std::string_view kText = "{\n \"a\": [ true,\n  \"\xC3\xA9\", 12.5 ]\n}";
  Document document(names());
  ASSERT_TRUE(document.parse(kText).has_value());
  const Node& array = *document.root()->first;
  const auto place = [&](const Node& node) {
    const Position at = locate(kText, node.offset);
    return std::to_string(at.line) + ':' + std::to_string(at.column);
  };
  EXPECT_EQ(place(*document.root()), "1:1");
  EXPECT_EQ(place(array), "2:7");
  EXPECT_EQ(place(*array.first), "2:9");
  EXPECT_EQ(place(*array.first->next), "3:3");
  EXPECT_EQ(place(*array.last), "3:8");
}

TEST(JsonLocate, CountsLinesAndCharacters) {
  EXPECT_EQ(locate("", 0).line, 1U);
  EXPECT_EQ(locate("", 0).column, 1U);
  EXPECT_EQ(locate("a\nb", 2).line, 2U);
  EXPECT_EQ(locate("a\nb", 2).column, 1U);
  EXPECT_EQ(locate("\xE2\x82\xACx", 3).column, 2U);
  EXPECT_EQ(locate("ab", 99).column, 3U);
}

}  // namespace
}  // namespace engine::json
