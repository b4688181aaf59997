// Functions on single values: strings, encodings, numbers, conversions, boundaries, parts of dates.
// Source: FHIRPath 2.0.0, 5.5 to 5.7; 3.0 for encodings, boundaries, parts and durations.

#include <gtest/gtest.h>

#include "tests/fhirpath/fixture.h"

namespace engine::fhirpath::testing {
namespace {

TEST(FhirpathValues, Strings) {
  constexpr Case kCases[] = {
      {"'abcabc'.indexOf('c')", "2"},
      {"'abc'.indexOf('x')", "-1"},
      {"'abc'.indexOf('')", "0"},
      {"'\xC3\xA9\xC3\xA9x'.indexOf('x')", "2"},
      {"'abcabc'.lastIndexOf('c')", "5"},
      {"'abc'.lastIndexOf('x')", "-1"},
      {"'abcdef'.substring(2)", "'cdef'"},
      {"'abcdef'.substring(2, 2)", "'cd'"},
      {"'abcdef'.substring(2, 99)", "'cdef'"},
      {"'abcdef'.substring(6)", "{}"},
      {"'abcdef'.substring(-1, 2)", "{}"},
      {"'abcdef'.substring(2, 0)", "''"},
      {"'abcdef'.substring(2, -1)", "''"},
      {"'\xE2\x82\xAC\xE2\x82\xACx'.substring(1, 1)", "'\xE2\x82\xAC'"},
      {"''.substring(0)", "{}"},
      {"'abc'.startsWith('ab')", "true"},
      {"'abc'.startsWith('')", "true"},
      {"'abc'.endsWith('bc')", "true"},
      {"'abc'.contains('b')", "true"},
      {"'abc'.contains('d')", "false"},
      {"'abc'.contains({})", "{}"},
      {"'a\xC3\xA9'.upper()", "'A\xC3\x89'"},
      {"'\xCE\xA9\xD0\x96'.lower()", "'\xCF\x89\xD0\xB6'"},
      {"'aXbX'.replace('X', '-')", "'a-b-'"},
      {"'abc'.replace('', '-')", "'-a-b-c-'"},
      {"'abc'.replace('b', '')", "'ac'"},
      {"'abc'.matches('b')", "true"},
      {"'abc'.matches('^b')", "false"},
      {"'a\\nb'.matches('a.b')", "true"},
      {"'ABC'.matches('abc')", "false"},
      {"'ABC'.matches('abc', 'i')", "true"},
      {"'a\\nb'.matches('^b$', 'm')", "true"},
      {"'abc'.matchesFull('b')", "false"},
      {"'abc'.matchesFull('a.c')", "true"},
      {"'2026-03'.replaceMatches('(\\\\d+)-(\\\\d+)', '$2/$1')", "'03/2026'"},
      {"'2026-03'.replaceMatches('(?<y>\\\\d+)-(?<m>\\\\d+)', '${m}.${y}')", "'03.2026'"},
      {"'abc'.replaceMatches('x*', '-')", "'-a-b-c-'"},
      {"'abc'.replaceMatches('', 'x')", "'abc'"},
      {"'cost'.replaceMatches('o', '$')", "'c$st'"},
      {"'\xC3\xA9t\xC3\xA9'.length()", "3"},
      {"'abc'.toChars()", "'a' | 'b' | 'c'"},
      {"''.toChars()", "{}"},
      {"'  a b '.trim()", "'a b'"},
      {"'a,b,,c'.split(',')", "'a' | 'b' | '' | 'c'"},
      {"'abc'.split(',')", "'abc'"},
      {"('a' | 'b').join('-')", "'a-b'"},
      {"('a' | 'b').join()", "'ab'"},
      {"{}.join('-')", "{}"},
      {"{}.upper()", "{}"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"1.upper()", "the input must be a string"},
      {"('a' | 'b').upper()", "one item is expected here, not 2"},
      {"'a'.indexOf(1)", "the argument must be a string"},
      {"'a'.substring('b')", "the argument must be an integer"},
      {"(1 | 2).join(',')", "join() joins strings"},
      {"'a'.matches('[')", "1:13: the regular expression cannot be used"},
      {"'a'.matches('a', 'x')", "the flags of a regular expression are i, m and s"},
  };
  expect_refusals(kRefusals);
}

TEST(FhirpathValues, Encodings) {
  constexpr Case kCases[] = {
      {"'a?>'.encode('base64')", "'YT8+'"},
      {"'a?>'.encode('urlbase64')", "'YT8-'"},
      {"'ab'.encode('base64')", "'YWI='"},
      {"'a'.encode('base64')", "'YQ=='"},
      {"''.encode('base64')", "''"},
      {"'YWI='.decode('base64')", "'ab'"},
      {"'YWI'.decode('base64')", "'ab'"},
      {"'a*'.decode('base64')", "{}"},
      {"'/w=='.decode('base64')", "{}"},
      {"'\xC3\xA9'.encode('hex')", "'c3a9'"},
      {"'C3a9'.decode('hex')", "'\xC3\xA9'"},
      {"'abc'.decode('hex')", "{}"},
      {"'zz'.decode('hex')", "{}"},
      {"'<a&\"\\''.escape('html')", "'&lt;a&amp;&quot;&#39;'"},
      {"'&lt;&#39;&apos;&nope;'.unescape('html')", "'<''&nope;'"},
      {"'a\"\\n'.escape('json')", "'a\\\"\\n'"},
      {"'a\\\\n\\\\u0041'.unescape('json').length()", "3"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"'a'.encode('rot13')", "encode() knows 'hex', 'base64' and 'urlbase64'"},
      {"'a'.decode('x')", "decode() knows"},
      {"'a'.escape('x')", "escape() knows 'html' and 'json'"},
      {"'\\\\u12'.unescape('json')", "four hexadecimal digits"},
  };
  expect_refusals(kRefusals);
}

TEST(FhirpathValues, Numbers) {
  constexpr Case kCases[] = {
      {"(-5).abs()", "5"},
      {"(-5.50).abs()", "5.50"},
      {"(-5 'mg').abs()", "5 'mg'"},
      {"1.1.ceiling()", "2"},
      {"(-1.1).ceiling()", "-1"},
      {"(-1.1).floor()", "-2"},
      {"1.9.truncate()", "1"},
      {"(-1.9).truncate()", "-1"},
      {"1.5.round()", "2"},
      {"(-1.5).round()", "-2"},
      {"2.345.round(2)", "2.35"},
      {"2.344.round(2)", "2.34"},
      {"0.exp()", "1"},
      {"1.exp()", "2.71828182845905"},
      {"1.ln()", "0"},
      {"0.ln()", "{}"},
      {"(-1).ln()", "{}"},
      {"8.log(2)", "3"},
      {"1000.log(10)", "3"},
      {"0.log(10)", "{}"},
      {"2.power(10)", "1024"},
      {"2.power(-1)", "0.5"},
      {"2.5.power(2)", "6.25"},
      {"2.power(0)", "1"},
      {"2.power(40)", "{}"},
      {"4.power(0.5)", "2"},
      {"(-4).power(0.5)", "{}"},
      {"81.sqrt()", "9"},
      {"2.sqrt().round(20)", "1.41421356237309504880"},
      {"(-1).sqrt()", "{}"},
      {"(1 | 2 | 3.5).sum()", "6.5"},
      {"(1 'g' | 5 'mg').sum()", "1005 'mg'"},
      {"(1 | 2).avg()", "1.5"},
      {"(3 | 1 | 2).min()", "1"},
      {"('a' | 'c' | 'b').max()", "'c'"},
      {"{}.sum()", "{}"},
      {"{}.abs()", "{}"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"'a'.abs()", "the input must be a number"},
      {"(1 | 2).ceiling()", "one item is expected here, not 2"},
      {"1.5.round(-1)", "round() takes a number of digits of 0 or more"},
      {"2.power('a')", "the exponent of power() is a number"},
      {"(1 | 'a').sum()", "the operator + does not take values of these types"},
  };
  expect_refusals(kRefusals);
}

TEST(FhirpathValues, Convert) {
  constexpr Case kCases[] = {
      {"'Yes'.toBoolean()", "true"},
      {"'F'.toBoolean()", "false"},
      {"'maybe'.toBoolean()", "{}"},
      {"2.toBoolean()", "{}"},
      {"1.0.toBoolean()", "true"},
      {"'+12'.toInteger()", "12"},
      {"'-12'.toInteger()", "-12"},
      {"'1.0'.toInteger()", "{}"},
      {"'99999999999'.toInteger()", "{}"},
      {"'99999999999'.toLong()", "99999999999"},
      {"true.toInteger()", "1"},
      {"1.5.toInteger()", "{}"},
      {"'1.50'.toDecimal()", "1.50"},
      {"'1e3'.toDecimal()", "{}"},
      {"'.5'.toDecimal()", "{}"},
      {"true.toDecimal()", "1.0"},
      {"'2026-03-02'.toDate()", "@2026-03-02"},
      {"'2026-03-02T08:10:00Z'.toDate()", "@2026-03-02"},
      {"'2026-02-30'.toDate()", "{}"},
      {"@2026-03-02T23:10:00-05:00.toDate()", "@2026-03-02"},
      {"@2026-03-02.toDateTime()", "@2026-03-02T"},
      {"'2026-03-02T08'.toDateTime()", "@2026-03-02T08"},
      {"'8:10'.toTime()", "{}"},
      {"'08:10:30.5'.toTime()", "@T08:10:30.5"},
      {"'T08:10'.toTime()", "@T08:10"},
      {"1.toQuantity()", "1 '1'"},
      {"'4 days'.toQuantity()", "4 days"},
      {"'4.5 \\'mg\\''.toQuantity()", "4.5 'mg'"},
      {"'4 mg'.toQuantity()", "{}"},
      {"'mg'.toQuantity()", "{}"},
      {"1 'g'.toQuantity('mg')", "1000 'mg'"},
      {"1 'g'.toQuantity('m')", "{}"},
      {"1 week.toQuantity('day')", "7 days"},
      {"1.convertsToString()", "true"},
      {"'x'.convertsToInteger()", "false"},
      {"{}.convertsToInteger()", "{}"},
      {"1.50.toString()", "'1.50'"},
      {"(3 'mg').toString()", "'3 \\'mg\\''"},
      {"(2 weeks).toString()", "'2 weeks'"},
      {"@T08:10.toString()", "'08:10'"},
  };
  for (const Case& one : kCases) {
    // print() writes strings as they are; the table writes the quote inside one as in the language.
    std::string expected(one.expected);
    for (std::size_t at = expected.find("\\'"); at != std::string::npos;
         at = expected.find("\\'")) {
      expected.erase(at, 1);
    }
    EXPECT_EQ(run(one.expression), expected) << one.expression;
  }
  constexpr Case kRefusals[] = {
      {"(1 | 2).toInteger()", "one item is expected here, not 2"},
      {"('a' | 'b').convertsToDate()", "one item is expected here, not 2"},
      {"1.toQuantity(5)", "the argument must be a string"},
  };
  expect_refusals(kRefusals);
}

TEST(FhirpathValues, Boundaries) {
  constexpr Case kCases[] = {
      {"1.5.lowBoundary()", "1.45000000"},
      {"1.5.highBoundary()", "1.55000000"},
      {"1.lowBoundary(1)", "0.5"},
      {"1.highBoundary(1)", "1.5"},
      {"(-1.5).lowBoundary(2)", "-1.55"},
      {"(-1.5).highBoundary(2)", "-1.45"},
      {"0.lowBoundary(1)", "-0.5"},
      {"0.0.highBoundary(2)", "0.05"},
      {"1.57.lowBoundary(0)", "1"},
      {"1.57.highBoundary(0)", "2"},
      {"1.5.lowBoundary(-1)", "{}"},
      {"1.5.lowBoundary(32)", "{}"},
      {"2.5 'mg'.highBoundary(2)", "2.55 'mg'"},
      {"@2026.lowBoundary()", "@2026-01-01"},
      {"@2024-02.highBoundary()", "@2024-02-29"},
      {"@2026.highBoundary(6)", "@2026-12"},
      {"@2026.highBoundary(5)", "{}"},
      {"@2026-03-02T08:10.lowBoundary()", "@2026-03-02T08:10:00.000+14:00"},
      {"@2026-03-02T08:10.highBoundary()", "@2026-03-02T08:10:59.999-12:00"},
      {"@2026-03-02T08:10Z.highBoundary()", "@2026-03-02T08:10:59.999Z"},
      {"@2026-03-02T08:10:30.5Z.highBoundary()", "@2026-03-02T08:10:30.599Z"},
      {"@2026-03-02T08:10Z.lowBoundary(8)", "@2026-03-02T"},
      {"@T08:10.lowBoundary()", "@T08:10:00.000"},
      {"@T08:10.highBoundary(6)", "@T08:10:59"},
      {"{}.lowBoundary()", "{}"},
      {"1.500.precision()", "3"},
      {"7.precision()", "0"},
      {"@2026-03.precision()", "6"},
      {"@2026-03-02T08:10:30.25.precision()", "16"},
      {"@T08:10.precision()", "4"},
      {"1 'cm'.comparable(1 'km')", "true"},
      {"1 'cm'.comparable(1 'kg')", "false"},
      {"1 day.comparable(1 'h')", "true"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"'a'.lowBoundary()", "a number, quantity, date or time has boundaries"},
      {"'a'.precision()", "a number, date or time has a precision"},
      {"1.comparable(2)", "comparable() compares quantities"},
  };
  expect_refusals(kRefusals);
}

TEST(FhirpathValues, PartsOfDates) {
  constexpr Case kCases[] = {
      {"@2026-03-02.yearOf()", "2026"},
      {"@2026-03-02.monthOf()", "3"},
      {"@2026-03-02.dayOf()", "2"},
      {"@2026.monthOf()", "{}"},
      {"@2026-03-02T08:10:30.250+01:00.hourOf()", "8"},
      {"@2026-03-02T08:10:30.250+01:00.minuteOf()", "10"},
      {"@2026-03-02T08:10:30.250+01:00.secondOf()", "30"},
      {"@2026-03-02T08:10:30.250+01:00.millisecondOf()", "250"},
      {"@2026-03-02T08:10:30+05:30.timezoneOffsetOf()", "5.5"},
      {"@2026-03-02T08:10:30.timezoneOffsetOf()", "{}"},
      {"@2026-03-02T08:10:30Z.dateOf()", "@2026-03-02"},
      {"@2026-03-02T08:10:30Z.timeOf()", "@T08:10:30"},
      {"@T08:10.hourOf()", "8"},
      {"@T08:10.secondOf()", "{}"},
      {"@2026-01-31.duration(@2026-03-02, 'day')", "30"},
      {"@2026-01-31.duration(@2026-02-28, 'month')", "0"},
      {"@2026-01-31.difference(@2026-02-28, 'month')", "1"},
      {"@2000-05-01.duration(@2026-03-02, 'years')", "25"},
      {"@2000-05-01.difference(@2026-03-02, 'year')", "26"},
      {"@2026-03-07.difference(@2026-03-08, 'week')", "1"},
      {"@2026-03-08.difference(@2026-03-14, 'week')", "0"},
      {"@2026-03-02T08:10:00Z.duration(@2026-03-02T10:00:00+01:00, 'minute')", "50"},
      {"@2026-03-02T23:59:00.difference(@2026-03-03T00:01:00, 'day')", "1"},
      {"@2026-03-02T23:59:00.duration(@2026-03-03T00:01:00, 'day')", "0"},
      {"@T08:00.duration(@T09:30, 'hour')", "1"},
      {"@2026-03.duration(@2026-05-01, 'day')", "{}"},
      {"@2026-03-02T08:00:00Z.duration(@2026-03-02T09:00:00, 'hour')", "{}"},
      {"@2026-03-03.duration(@2026-03-01, 'day')", "-2"},
      {"now().toString()", "'2026-03-02T08:10:30.250+01:00'"},
      {"today() - 1 day", "@2026-03-01"},
      {"now() > @2026-03-02T07:00:00Z", "true"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"1.yearOf()", "a date is expected"},
      {"@T08.yearOf()", "a date is expected"},
      {"@2026-03-02.duration(@T08, 'day')", "two dates or two times are expected"},
      {"@2026-03-02.duration(@2026-03-03, 'fortnight')", "a precision such as"},
      {"@T08:10.difference(@T09:10, 'day')", "a precision such as"},
  };
  expect_refusals(kRefusals);
}

}  // namespace
}  // namespace engine::fhirpath::testing
