// Operators: three-valued logic, equality, equivalence, comparison, membership, arithmetic.
// Source: FHIRPath 2.0.0, chapter 6; tables worked out by hand.

#include <gtest/gtest.h>

#include "tests/fhirpath/fixture.h"

namespace engine::fhirpath::testing {
namespace {

TEST(FhirpathOperators, FollowThreeValuedLogic) {
  struct Row {
    std::string_view a, b, conjunction, disjunction, exclusive, implication;
  };
  constexpr Row kRows[] = {
      {"true", "true", "true", "true", "false", "true"},
      {"true", "false", "false", "true", "true", "false"},
      {"true", "{}", "{}", "true", "{}", "{}"},
      {"false", "true", "false", "true", "true", "true"},
      {"false", "false", "false", "false", "false", "true"},
      {"false", "{}", "false", "{}", "{}", "true"},
      {"{}", "true", "{}", "true", "{}", "true"},
      {"{}", "false", "false", "{}", "{}", "{}"},
      {"{}", "{}", "{}", "{}", "{}", "{}"},
  };
  for (const Row& row : kRows) {
    const std::string a(row.a);
    const std::string b(row.b);
    EXPECT_EQ(run(a + " and " + b), row.conjunction);
    EXPECT_EQ(run(a + " or " + b), row.disjunction);
    EXPECT_EQ(run(a + " xor " + b), row.exclusive);
    EXPECT_EQ(run(a + " implies " + b), row.implication);
  }
  constexpr Case kCases[] = {
      {"true.not()", "false"},     {"false.not()", "true"}, {"{}.not()", "{}"},
      {"true and 'text'", "true"}, {"(0).not()", "false"},  {"'false' and true", "true"},
  };
  expect_results(kCases);
}

TEST(FhirpathOperators, TestEquality) {
  constexpr Case kCases[] = {
      {"1 = 1", "true"},
      {"1 = 1.0", "true"},
      {"1.10 = 1.1", "true"},
      {"1 != 2", "true"},
      {"'a' = 'A'", "false"},
      {"'a' != 'A'", "true"},
      {"true = false", "false"},
      {"{} = 1", "{}"},
      {"1 != {}", "{}"},
      {"(1 | 2) = (1 | 2)", "true"},
      {"(1 | 2) = (2 | 1)", "false"},
      {"(1 | 2) = 1", "false"},
      {"1 = '1'", "false"},
      {"@2026 = @T08", "false"},
      {"@2026 != @T08", "true"},
      {"@2026-03-02 = @2026-03-02", "true"},
      {"@2026-03-02 = @2026-03", "{}"},
      {"@2026-03 = @2025-03-01", "false"},
      {"@2026-03-02T08:10:30 = @2026-03-02T08:10:30.000", "true"},
      {"@2026-03-02T08:10 = @2026-03-02T08:10:00", "{}"},
      {"@2026-03-02T08:10:00Z = @2026-03-02T09:10:00+01:00", "true"},
      {"@2026-03-02T08:10:00Z = @2026-03-02T08:10:00+01:00", "false"},
      {"@2026-03-02T08:10:00Z = @2026-03-02T08:10:00", "{}"},
      {"@2026-03-02T08:10:00Z = @2026-03-05T08:10:00", "false"},
      {"@2026-03-01T23:30:00-01:00 = @2026-03-02T00:30:00Z", "true"},
      {"@T08:10 = @T08:10", "true"},
      {"@T08:10 = @T08:10:00", "{}"},
      {"1 'g' = 1000 'mg'", "true"},
      {"1 'g' = 1001 'mg'", "false"},
      {"1 'g' = 1 'm'", "{}"},
      {"1 '1' = 1", "true"},
      {"1 week = 7 days", "true"},
      {"1 'wk' = 1 week", "true"},
      {"24 hours = 1 'd'", "true"},
      {"1 year = 12 months", "true"},
      {"1 year = 1 'a'", "{}"},
      {"1 month = 1 'mo'", "{}"},
      {"37 'Cel' = 98.6 '[degF]'", "true"},
      {"1 'L/min' = 1 'l/min'", "true"},
  };
  expect_results(kCases);
}

TEST(FhirpathOperators, TestEquivalence) {
  constexpr Case kCases[] = {
      {"{} ~ {}", "true"},
      {"{} ~ 1", "false"},
      {"1 !~ {}", "true"},
      {"'AbC' ~ 'aBc'", "true"},
      {"'a b' ~ 'a\tb'", "true"},
      {"'a  b' ~ 'a b'", "false"},
      {"'\xC3\x84rger' ~ '\xC3\xA4RGER'", "true"},
      {"1.0 ~ 1", "true"},
      {"0.67 ~ 0.6666", "true"},
      {"0.66 ~ 0.6666", "false"},
      {"2 / 3 ~ 0.67", "true"},
      {"(1 | 2 | 3) ~ (3 | 1 | 2)", "true"},
      {"(1 | 2) ~ (1 | 3)", "false"},
      {"@2026-03 ~ @2026-03-02", "false"},
      {"@2026-03-02 ~ @2026-03-02", "true"},
      {"1 year ~ 1 'a'", "true"},
      {"1 month ~ 1 'mo'", "true"},
      {"1 'm' ~ 1 's'", "false"},
      {"4 'g' ~ 4000.4 'mg'", "true"},
      {"1 ~ 'one'", "false"},
  };
  expect_results(kCases);
}

TEST(FhirpathOperators, CompareInOrder) {
  constexpr Case kCases[] = {
      {"1 < 2", "true"},
      {"2 <= 1", "false"},
      {"1.5 > 1", "true"},
      {"'a' < 'b'", "true"},
      {"'Z' < 'a'", "true"},
      {"{} < 1", "{}"},
      {"1 > {}", "{}"},
      {"@2026-03-02 < @2026-03-03", "true"},
      {"@2026-03 < @2026-03-02", "{}"},
      {"@2026 < @2027-01-01", "true"},
      {"@2026-03-02T08:10 >= @2026-03-02T08:10", "true"},
      {"@T08:10 < @T08:11:00", "true"},
      {"@2026-03-02 > @2026-03-01T23:00:00", "true"},
      {"2 'cm' > 10 'mm'", "true"},
      {"2 'cm' > 10 's'", "{}"},
      {"36.6 'Cel' < 100 '[degF]'", "true"},
      {"30 days > 4 weeks", "true"},
      {"2 years > 1 'd'", "{}"},
      {"5 > 4 '1'", "true"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"1 < 'a'", "1:1: values of these types have no order"},
      {"true > false", "1:1: values of these types have no order"},
      {"@2026 < @T08", "1:1: values of these types have no order"},
      {"(1 | 2) < 3", "1:1: one item is expected here, not 2"},
  };
  expect_refusals(kRefusals);
}

TEST(FhirpathOperators, TestMembership) {
  constexpr Case kCases[] = {
      {"1 in (1 | 2)", "true"},
      {"3 in (1 | 2)", "false"},
      {"1 in {}", "false"},
      {"{} in (1 | 2)", "{}"},
      {"(1 | 2) contains 2.0", "true"},
      {"{} contains 1", "false"},
      {"(1 | 2) contains {}", "{}"},
      {"'a' in ('A' | 'b')", "false"},
      {"1 | 1 | 2", "1 | 2"},
      {"1 | 1.0", "1"},
      {"{} | {}", "{}"},
      {"1 'g' | 1000 'mg'", "1 'g'"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"(1 | 2) in (1 | 2)", "one item is expected here, not 2"},
      {"(1 | 2) contains (1 | 2)", "one item is expected here, not 2"},
  };
  expect_refusals(kRefusals);
}

TEST(FhirpathOperators, CalculateExactly) {
  constexpr Case kCases[] = {
      {"1 + 1", "2"},
      {"0.1 + 0.2", "0.3"},
      {"1.0 + 2", "3.0"},
      {"2147483647 + 1", "{}"},
      {"-2147483648 - 1", "{}"},
      {"2147483647L + 1", "2147483648"},
      {"9223372036854775807L + 1L", "{}"},
      {"65536 * 65536", "{}"},
      {"1.2 * 1.8", "2.16"},
      {"1 / 3", "0.33333333333333333333"},
      {"4 / 2", "2"},
      {"1 / 0", "{}"},
      {"1.0 / 0.0", "{}"},
      {"7 div 2", "3"},
      {"-7 div 2", "-3"},
      {"7.9 div 2", "3"},
      {"7 div 0", "{}"},
      {"-7 mod 2", "-1"},
      {"5.5 mod 0.7", "0.6"},
      {"5 mod 0", "{}"},
      {"1 + {}", "{}"},
      {"'a' + 'b'", "'ab'"},
      {"'a' + {}", "{}"},
      {"'a' & {}", "'a'"},
      {"{} & {}", "''"},
      {"1 'g' + 5 'mg'", "1005 'mg'"},
      {"1 'g' - 1 'm'", "{}"},
      {"36.6 'Cel' + 1 'Cel'", "{}"},
      {"2 days + 12 hours", "60 hours"},
      {"3 * 2 'mg'", "6 'mg'"},
      {"6 'mg' / 2", "3 'mg'"},
      {"6 'mg' / 3 'mg'", "2 '1'"},
      {"2 'm' * 3 'm' = 6 'm2'", "true"},
      {"10 'm' / 2 's' = 5 'm/s'", "true"},
      {"-(3 'mg')", "-3 'mg'"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"1 + 'a'", "the operator + does not take values of these types"},
      {"'a' - 'b'", "the operator - does not take values of these types"},
      {"true + 1", "the operator + does not take values of these types"},
      {"(1 | 2) + 1", "one item is expected here, not 2"},
      {"1 & 'a'", "& joins strings"},
      {"5 'mg' mod 2 'mg'", "div and mod take numbers, not quantities"},
      {"-'a'", "a minus sign stands before a number or a quantity"},
      {"-true", "a minus sign stands before a number or a quantity"},
  };
  expect_refusals(kRefusals);
}

TEST(FhirpathOperators, CalculateWithDates) {
  constexpr Case kCases[] = {
      {"@2026-03-02 + 1 day", "@2026-03-03"},
      {"@2026-03-02 - 2 days", "@2026-02-28"},
      {"@2024-02-28 + 1 day", "@2024-02-29"},
      {"@2026-01-31 + 1 month", "@2026-02-28"},
      {"@2024-02-29 + 1 year", "@2025-02-28"},
      {"@2026-03-02 + 1.9 days", "@2026-03-03"},
      {"@2026-03-02 + 1 week", "@2026-03-09"},
      {"@2026-03-02 + 25 hours", "@2026-03-03"},
      {"@2026 + 23 months", "@2027"},
      {"@2026 + 11 months", "@2026"},
      {"@2026-03 + 45 days", "@2026-04"},
      {"@2026 + 1 'd'", "@2026"},
      {"@2026-03-02T08:10 + 50 minutes", "@2026-03-02T09:00"},
      {"@2026-03-02T23:30:00 + 1 hour", "@2026-03-03T00:30:00"},
      {"@2026-03-02T08:10:30Z - 30 seconds", "@2026-03-02T08:10:00Z"},
      {"@2026-03-02T08:10:30.500 + 600 milliseconds", "@2026-03-02T08:10:31.100"},
      {"@2026-03-02T08:10:30 + 1.5 seconds", "@2026-03-02T08:10:31.500"},
      {"@T23:30 + 45 minutes", "@T00:15"},
      {"@T00:15:00 - 30 minutes", "@T23:45:00"},
      {"@2026-03-02 + 1 'wk'", "@2026-03-09"},
      {"@2026-03-02 + 90 'min'", "@2026-03-02"},
      {"@9999-12-31 + 1 day", "{}"},
      {"@0001-01-01 - 1 day", "{}"},
      {"@2026-03-02 + 999999999999 years", "{}"},
      {"@2026-03-02 + {}", "{}"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"@2026-03-02 + 1", "the operator + does not take values of these types"},
      {"@2026-03-02 + 1 'cm'", "the unit 'cm' is none for dates"},
      {"@2026-03-02 + 1 'mo'", "the unit 'mo' is none for dates"},
      {"@2026-03-02 + 1 'a'", "the unit 'a' is none for dates"},
      {"@2026-03-02 * 2", "the operator * does not take values of these types"},
      {"@2026-03-02 - @2026-03-01", "the operator - does not take values of these types"},
      {"@T08:10 + 1 day", "hours, minutes, seconds or milliseconds are expected with a time"},
  };
  expect_refusals(kRefusals);
}

}  // namespace
}  // namespace engine::fhirpath::testing
