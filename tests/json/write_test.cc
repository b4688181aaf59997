// Printing JSON, and the canonical form: the rules of RFC 8785 for members and strings, number text
// kept.

#include "engine/json/write.h"

#include <string>

#include <gtest/gtest.h>

#include "engine/json/document.h"

namespace engine::json {
namespace {

const NameTable& names() {
  static const NameTable table;
  return table;
}

std::string canonical(std::string_view text) {
  Document document(names());
  const base::Result<void> read = document.parse(text);
  EXPECT_TRUE(read.has_value()) << text;
  return read ? to_canonical_text(*document.root()) : std::string();
}

TEST(JsonCanonical, SortsMembersByUtf16CodeUnits) {
  // The member names of RFC 8785 section 3.2.3, whose order it gives: CR, "1", U+0080, o with
  // diaeresis, euro sign, U+1F600, U+FB33. The emoji's surrogates sort before U+FB33.
  EXPECT_EQ(canonical(R"({"\u20ac":5,"\r":1,"\ufb33":7,"1":2,"\ud83d\ude00":6,"\u0080":3,)"
                      R"("\u00f6":4})"),
            "{\"\\r\":1,\"1\":2,\"\xC2\x80\":3,\"\xC3\xB6\":4,\"\xE2\x82\xAC\":5,"
            "\"\xF0\x9F\x98\x80\":6,\"\xEF\xAC\xB3\":7}");
}

TEST(JsonCanonical, DependsOnTheValueOnly) {
  struct Case {
    std::string_view text;
    std::string_view form;
  };
  constexpr Case kCases[] = {
      {R"({"b":1,"a":2})", R"({"a":2,"b":1})"},
      {R"({"aa":1,"a":2,"":3})", R"({"":3,"a":2,"aa":1})"},
      {R"([{"b":[2,1],"a":null}])", R"([{"a":null,"b":[2,1]}])"},
      {R"({"A":1,"a":2,"_a":3,"Z":4})", R"({"A":1,"Z":4,"_a":3,"a":2})"},
      {R"("\u000F\u000a\u001b\/A\u0022\\\"")", R"("\u000f\n\u001b/A\"\\\"")"},
      {"[2.00, 2, 2.0, 1E5, -0]", "[2.00,2,2.0,1E5,-0]"},  // digits are data in FHIR
      {R"({"a":1,"b":0,"a":2})", R"({"a":1,"a":2,"b":0})"},
      {" [ ] ", "[]"},
  };
  for (const Case& c : kCases) {
    EXPECT_EQ(canonical(c.text), c.form) << c.text;
    EXPECT_EQ(canonical(c.form), c.form);
  }
}

TEST(JsonWrite, EndsWhereItIsTold) {
  const std::string text = R"(["a","bb",{"c":"\"d\""}])";
  Document document(names());
  ASSERT_TRUE(document.parse(text).has_value());
  for (const std::size_t over : {std::size_t{0}, std::size_t{1}, std::size_t{100}}) {
    std::string out;
    EXPECT_TRUE(write_within(*document.root(), text.size() + over, out));
    EXPECT_EQ(out, text);
  }
  for (std::size_t most = 0; most < text.size(); ++most) {
    std::string out;
    EXPECT_FALSE(write_within(*document.root(), most, out)) << most;
    EXPECT_LE(out.size(), text.size());
  }
  // Texts that do not pass through the buffer.
  std::string long_one = "[";
  for (int i = 0; i < 50; ++i) {
    long_one += "\"" + std::string(10'000, 'x') + "\",";
  }
  ASSERT_TRUE(document.parse(long_one + "1]").has_value());
  std::string out;
  EXPECT_FALSE(write_within(*document.root(), 30'000, out));
  EXPECT_LT(out.size(), 45'000U);
  out.clear();
  EXPECT_TRUE(write_within(*document.root(), 1'000'000, out));
  EXPECT_EQ(out, long_one + "1]");
}

TEST(JsonWrite, EscapesOnlyWhatMustBe) {
  std::string out;
  write_string(std::string_view("\x00\x1F\"\\/\x7F\xC3\xA9<>&'\b\t\n\f\r", 17), out);
  EXPECT_EQ(out, "\"\\u0000\\u001f\\\"\\\\/\x7F\xC3\xA9<>&'\\b\\t\\n\\f\\r\"");
}

TEST(JsonWrite, PrettyTextHasOneMemberALine) {
  Document document(names());
  ASSERT_TRUE(document.parse(R"({"a":{"b":[1,{"c":[]}],"d":{}},"e":"f"})").has_value());
  EXPECT_EQ(to_pretty_text(*document.root()), R"({
  "a": {
    "b": [
      1,
      {
        "c": []
      }
    ],
    "d": {}
  },
  "e": "f"
}
)");
}

TEST(JsonPointer, NamesEveryNode) {
  Document document(names());
  ASSERT_TRUE(document.parse(R"({"entry":[0,{"a/b":1,"m~n":[2],"":3}]})").has_value());
  const Node& item = *document.root()->first->last;
  EXPECT_EQ(pointer_of(*document.root()), "");
  EXPECT_EQ(pointer_of(item), "/entry/1");
  EXPECT_EQ(pointer_of(*item.find("a/b")), "/entry/1/a~1b");
  EXPECT_EQ(pointer_of(*item.find("m~n")->first), "/entry/1/m~0n/0");
  EXPECT_EQ(pointer_of(*item.find("")), "/entry/1/");
}

TEST(JsonEqual, ComparesValuesNotSpelling) {
  struct Case {
    std::string_view a;
    std::string_view b;
    bool equal;
  };
  constexpr Case kCases[] = {
      {R"({"a":1,"b":2})", R"({"b":2,"a":1})", true},
      {R"("\u0041")", R"("A")", true},
      {"[1,2]", "[1, 2]", true},
      {"[1,2]", "[2,1]", false},
      {"2.0", "2.00", false},
      {"5", "\"5\"", false},
      {"null", "false", false},
      {"true", "false", false},
      {R"({"a":1})", R"({"a":1,"b":2})", false},
      {R"({"a":1})", R"({"b":1})", false},
      {"[]", "{}", false},
  };
  for (const Case& c : kCases) {
    Document a(names());
    Document b(names());
    ASSERT_TRUE(a.parse(c.a).has_value() && b.parse(c.b).has_value());
    EXPECT_EQ(deep_equal(*a.root(), *b.root()), c.equal) << c.a << ' ' << c.b;
    EXPECT_EQ(deep_equal(*b.root(), *a.root()), c.equal) << c.b << ' ' << c.a;
  }
}

TEST(JsonBuild, MakesTreesAndCopies) {
  Document document(names());
  Node* object = document.make_object();
  document.append(object, "status", document.make_string("final"));
  Node* values = document.make_array();
  Document::append(values, document.make_number("2.00"));
  Document::append(values, document.make_boolean(true));
  Document::append(values, document.make_null());
  document.append(object, "values", values);
  document.set_root(object);
  EXPECT_EQ(to_text(*document.root()), R"({"status":"final","values":[2.00,true,null]})");
  EXPECT_EQ(pointer_of(*values->last), "/values/2");

  Document other(names());
  const Node* copied = nullptr;
  {
    Document gone(names());
    ASSERT_TRUE(gone.parse(R"({"x":{"y":["a",1.50]}})").has_value());
    copied = other.copy(*gone.root()->first);
  }
  EXPECT_EQ(to_text(*copied), R"({"y":["a",1.50]})");
  EXPECT_EQ(copied->first->name, other.name("y"));
}

}  // namespace
}  // namespace engine::json
