// Lexis, literals, precedence. Source: FHIRPath 2.0.0, 4.1 and 6.8.

#include <gtest/gtest.h>

#include "tests/fhirpath/fixture.h"

namespace engine::fhirpath::testing {
namespace {

TEST(FhirpathLiterals, GiveThemselves) {
  constexpr Case kCases[] = {
      {"{}", "{}"},
      {"true", "true"},
      {"false", "false"},
      {"'text'", "'text'"},
      {"''", "''"},
      {"0", "0"},
      {"2147483647", "2147483647"},
      {"-2147483648", "-2147483648"},
      {"9007199254740993L", "9007199254740993"},
      {"1.0", "1.0"},
      {"1.500", "1.500"},
      {"0.000000000000000000000000001", "0.000000000000000000000000001"},
      {"12345678901234567890123456789.12345678", "12345678901234567890123456789.12345678"},
      {"@2026", "@2026"},
      {"@2026-03", "@2026-03"},
      {"@2026-03-02", "@2026-03-02"},
      {"@2026T", "@2026T"},
      {"@2026-03T", "@2026-03T"},
      {"@2026-03-02T", "@2026-03-02T"},
      {"@2026-03-02T08", "@2026-03-02T08"},
      {"@2026-03-02T08:10", "@2026-03-02T08:10"},
      {"@2026-03-02T08:10:30", "@2026-03-02T08:10:30"},
      {"@2026-03-02T08:10:30.1", "@2026-03-02T08:10:30.1"},
      {"@2026-03-02T08:10:30.123456789Z", "@2026-03-02T08:10:30.123456789Z"},
      {"@2026-03-02T08:10:30+05:30", "@2026-03-02T08:10:30+05:30"},
      {"@T08", "@T08"},
      {"@T08:10", "@T08:10"},
      {"@T08:10:30.5", "@T08:10:30.5"},
      {"4 'mg'", "4 'mg'"},
      {"4.50 'L/min'", "4.50 'L/min'"},
      {"1 day", "1 day"},
      {"1 days", "1 day"},
      {"3 weeks", "3 weeks"},
      {"-1.5", "-1.5"},
      {"+3", "3"},
      {"--3", "3"},
  };
  expect_results(kCases);
}

TEST(FhirpathLiterals, ReadEscapesAndComments) {
  constexpr Case kCases[] = {
      {R"('it\'s')", "'it's'"},
      {R"('a\\b')", R"('a\b')"},
      {R"('a\/b')", "'a/b'"},
      {R"('\q')", "'q'"},
      {R"('\u0041\u00e9')", "'A\xC3\xA9'"},
      {R"('\ud83d\ude00'.length())", "1"},
      {R"('\ud83d'.length())", "1"},
      {R"('line\nbreak'.length())", "10"},
      {"1 + /* one */ 2 // and the rest", "3"},
      {"/* a * b / c */ 1", "1"},
      {"1 // first\n + 1", "2"},
      {"\t1\r\n+\n1 ", "2"},
  };
  expect_results(kCases);
}

TEST(FhirpathLiterals, BindAsTightlyAsTheTableSays) {
  constexpr Case kCases[] = {
      {"1 + 2 * 3", "7"},
      {"(1 + 2) * 3", "9"},
      {"10 - 4 - 3", "3"},
      {"100 / 10 / 5", "2"},
      {"2 * 7 mod 4", "2"},
      {"7 div 2 * 2", "6"},
      {"-2 * -3", "6"},
      {"'a' & 'b' + 'c'", "'abc'"},
      {"1 | 2 + 3 | 3", "1 | 5 | 3"},
      {"1 < 2 = true", "true"},
      {"true = 1 < 2", "true"},
      {"1 = 1 and 2 = 2", "true"},
      {"true or false and false", "true"},
      {"true xor true or true", "true"},
      {"false implies false or false", "true"},
      {"true implies false implies false", "true"},
      {"1 in 1 | 2", "true"},
      {"(1 | 1 is Integer).count()", "2"},
      {"1 is Integer and true", "true"},
      {"3 > 2 | 1", "error 1:1: one item is expected here, not 2"},
      {"1 + 1 is Integer", "true"},
      {"5 is Integer = true", "true"},
      {"-(1).abs()", "-1"},
      {"(-1).abs()", "1"},
  };
  expect_results(kCases);
}

TEST(FhirpathLiterals, UseWordsOfTheLanguageAsNames) {
  constexpr std::string_view kSession =
      R"({"as": 1, "is": 2, "contains": 3, "in": 4, "div": 5, "day": 6, "year-end": 7})";
  constexpr Case kCases[] = {
      {"as", "JSON 1"},         {"is", "JSON 2"},
      {"contains", "JSON 3"},   {"in", "JSON 4"},
      {"`div`", "JSON 5"},      {"day", "JSON 6"},
      {"`year-end`", "JSON 7"}, {"$this.as + is", "3"},
      {"contains + in", "7"},   {"in in contains", "false"},
  };
  expect_results(kCases, kSession);
}

TEST(FhirpathLiterals, RefuseWhatIsNoExpression) {
  constexpr Case kCases[] = {
      {"", "1:1: a value, a name or '(' is expected, not the end"},
      {"   ", "1:4: a value"},
      {"1 +", "1:4: a value, a name or '(' is expected, not the end"},
      {"1 2", "1:3: an operator or the end of the expression is expected, not '2'"},
      {"(1", "1:3: ')' is expected, not the end"},
      {"1)", "1:2: an operator or the end"},
      {"'open", "1:1: a closing ' is missing"},
      {"`open", "1:1: a closing ` is missing"},
      {"1 /* open", "1:3: a comment without its closing */"},
      {"a..b", "1:3: a name is expected, not '.'"},
      {"a.", "1:3: a name is expected"},
      {"a[1", "1:4: ']' is expected"},
      {"a.div", "1:3: a name (a word such as 'div' needs back quotes)"},
      {"and", "1:1: a name (a word such as 'and'"},
      {"{1}", "1:2: '}' is expected, not '1'"},
      {"1.", "1:3: a name is expected"},
      {".5", "1:1: a value"},
      {"@", "1:1: a date or time is expected after @"},
      {"@2026-02-30", "1:1: a date that exists"},
      {"@2026-13", "1:1: a date that exists"},
      {"@0000", "1:1: a date that exists"},
      {"@26-03-02", "1:1: a date that exists"},
      {"@2026-03-02T25", "1:1: a date that exists"},
      {"@2026-03T08", "1:1: a date that exists"},
      {"@T24:00", "1:1: a time such as"},
      {"@T08:10Z", "1:1: a time such as"},
      {"@T08:10+01:00", "1:1: a time such as"},
      {"2147483649", "1:1: an integer of at most 2147483647"},
      {"1234567890123456789012345678901234567890", "1:1: a number of at most 38 digits"},
      {"$that", "1:1: $this, $index or $total is expected"},
      {"%", "1:1: a variable name is expected after %"},
      {"a $ b", "1:3: $this, $index or $total"},
      {"a ? b", "1:3: an operator or the end of the expression is expected, not '?'"},
      {"a = \xC2\xA7", "1:5: a value"},
      {"1 is", "1:5: a type name is expected"},
      {"1 is 'Integer'", "1:6: a type name is expected"},
      {"f(1,)", "1:5: a value"},
      {"'\\u12'", "1:4: four hexadecimal digits"},
      {"1 +\n  2 *\n  )", "3:3: a value, a name or '(' is expected, not ')'"},
      {"a\xFF", "1:2: a byte sequence that is not UTF-8"},
  };
  expect_refusals(kCases);
}

}  // namespace
}  // namespace engine::fhirpath::testing
