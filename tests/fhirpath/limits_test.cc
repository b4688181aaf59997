// Hostile expressions: a clear refusal within a bound.

#include "engine/base/limits.h"

#include <string>

#include <gtest/gtest.h>

#include "tests/fhirpath/fixture.h"

namespace engine::fhirpath::testing {
namespace {

using base::limits::kExpressionBytesMax;
using base::limits::kExpressionDepthMax;

std::string repeated(std::string_view text, std::size_t times) {
  std::string out;
  out.reserve(text.size() * times);
  for (std::size_t i = 0; i < times; ++i) {
    out += text;
  }
  return out;
}

bool refused(const std::string& expression, std::string_view why) {
  const std::string got = run(expression);
  return got.starts_with("error ") && got.find(why) != std::string::npos;
}

TEST(FhirpathLimits, HoldForTheLengthOfAnExpression) {
  const auto padded = [](std::size_t bytes) { return "1" + std::string(bytes - 1, ' '); };
  EXPECT_EQ(run(padded(kExpressionBytesMax - 1)), "1");
  EXPECT_EQ(run(padded(kExpressionBytesMax)), "1");
  EXPECT_TRUE(refused(padded(kExpressionBytesMax + 1), "more than 65536 bytes"));
  EXPECT_TRUE(refused(padded(std::size_t{1} << 20), "more than 65536 bytes"));
}

TEST(FhirpathLimits, HoldForNesting) {
  const auto nested = [](std::size_t depth) {
    return std::string(depth, '(') + "1" + std::string(depth, ')');
  };
  EXPECT_EQ(run(nested(kExpressionDepthMax - 1)), "1");
  EXPECT_TRUE(refused(nested(kExpressionDepthMax), "nested deeper than 400 levels"));
  EXPECT_TRUE(refused(nested(30'000), "nested deeper than 400 levels"));
  EXPECT_TRUE(refused(nested(100'000), "more than 65536 bytes"));
  EXPECT_TRUE(refused(std::string(60'000, '-') + "1", "nested deeper"));
  EXPECT_TRUE(refused(repeated("a[", 20'000), "nested deeper"));
  EXPECT_TRUE(refused(repeated("f(", 20'000), "nested deeper"));
  EXPECT_TRUE(refused(repeated("1+", 20'000) + "1", "nested deeper"));
  EXPECT_EQ(run(repeated("1+", 300) + "1"), "301");
  EXPECT_FALSE(parse_prefix(std::string(100'000, '(')).has_value());
}

TEST(FhirpathLimits, HoldForLongPaths) {
  EXPECT_EQ(run("'x'" + repeated(".trim()", 9'000)), "'x'");
}

TEST(FhirpathLimits, EndRepetitionsThatDoNot) {
  EXPECT_TRUE(refused("1.repeatAll($this + 1)", "items at once"));
  EXPECT_TRUE(refused("1.repeat($this + 1)", "more than 20000000 steps"));
  EXPECT_TRUE(refused("1.repeatAll($this)", "items at once"));
  EXPECT_EQ(run("1.repeat($this)"), "1");
  EXPECT_TRUE(
      refused("(1 | 2 | 3 | 4 | 5 | 6 | 7 | 8 | 9 | 10).repeatAll((1 | 2 | 3))", "items at once"));
}

// Text costs steps: what would take minutes is refused before it is begun.
TEST(FhirpathLimits, HoldForSearchesOfLongTexts) {
  const std::string four_mb =
      "('" + repeated("a", 2'000) + "'.replace('a','" + repeated("a", 2'000) + "'))";
  const std::string two_mb =
      "('" + repeated("a", 1'000) + "'.replace('a','" + repeated("a", 2'000) + "')";
  // A part that nearly matches everywhere.
  EXPECT_EQ(run(four_mb + ".indexOf(" + two_mb + " & 'b'))"), "-1");
  EXPECT_EQ(run(four_mb + ".lastIndexOf('b' & " + two_mb + "))"), "-1");
  EXPECT_EQ(run(four_mb + ".contains(" + two_mb + " & 'b'))"), "false");
  EXPECT_EQ(run(four_mb + ".replace(" + two_mb + " & 'b'), '').length()"), "4000000");
  EXPECT_EQ(run(four_mb + ".split(" + two_mb + " & 'b')).count()"), "1");
  // A pattern whose program is long, and one that reads to the end for every match.
  EXPECT_TRUE(refused(four_mb + ".matches('((a?){30}){30}b')", "more than 20000000 steps"));
  EXPECT_TRUE(refused(four_mb + ".replaceMatches('(a?){1000}','x')", "more than 20000000 steps"));
  EXPECT_TRUE(refused(four_mb + ".replaceMatches('a*?b|a','x')", "more than 20000000 steps"));
}

// Those that are honest are not hit.
TEST(FhirpathLimits, LeaveSearchesOfNotesAlone) {
  const std::string note =
      "('" + repeated("wound is dry  ", 40) + "'.replace('w', '" + repeated("the ", 60) + "'))";
  EXPECT_EQ(run(note + ".replaceMatches('\\\\s+', ' ').length()"), "10080");
  EXPECT_EQ(run(note + ".lastIndexOf('dry') > " + note + ".indexOf('dry')"), "true");
}

TEST(FhirpathLimits, HoldForItemsAndSteps) {
  const std::string ten = "(0|1|2|3|4|5|6|7|8|9)";
  const auto power = [&](int levels) {
    std::string text = ten;
    for (int i = 1; i < levels; ++i) {
      text = ten + ".select(" + text + ")";
    }
    return text;
  };
  EXPECT_EQ(run(power(5) + ".count()"), "100000");
  EXPECT_TRUE(refused(power(6) + ".count()", "more than 400000 items at once"));
  EXPECT_TRUE(refused(ten + ".all(" + ten + ".all(" + ten + ".all(" + ten + ".all(" + ten +
                          ".all(" + ten + ".all(" + ten + ".all(true)))))))",
                      "more than 20000000 steps"));
  // Sets of many items are no quadratic work.
  EXPECT_EQ(run(ten + ".select(" + ten + ".select(" + ten + ".select(" + ten +
                ".select('item')))).distinct()"),
            "'item'");
  EXPECT_EQ(run("(" + power(4) + ").aggregate($total | $this, {}).count()"), "10");
}

TEST(FhirpathLimits, HoldForTexts) {
  std::string doubled = "'0123456789abcdef'";
  for (int i = 0; i < 25; ++i) {
    doubled += ".replace('0', '00')";
  }
  EXPECT_TRUE(refused(doubled, "a string of more than 4194304 bytes"));
  EXPECT_TRUE(refused("'aaaaaaaaaaaaaaaa'" + repeated(".replace('', 'aaaaaaaaaaaaaaaa')", 6),
                      "a string of more than"));
  EXPECT_TRUE(
      refused("'aaaaaaaaaaaaaaaa'" + repeated(".replaceMatches('a', 'aaaaaaaaaaaaaaaa')", 6),
              "a string of more than"));
}

TEST(FhirpathLimits, MatchInLinearTime) {
  const std::string text = "'" + std::string(30'000, 'a') + "!'";
  EXPECT_EQ(run(text + ".matches('^(a+)+$')"), "false");
  EXPECT_EQ(run(text + ".matches('(a|a)*b')"), "false");
  EXPECT_EQ(run(text + ".matches('^(a|aa)+$')"), "false");
  EXPECT_TRUE(refused("'a'.matches('(a{1000}){1000}')", "the regular expression cannot be used"));
  EXPECT_TRUE(refused("'a'.matches('(?=a)')", "the regular expression cannot be used"));
  EXPECT_TRUE(refused("'a'.matches('(a)\\\\1')", "the regular expression cannot be used"));
  EXPECT_TRUE(refused("'a'.matches('(')", "the regular expression cannot be used"));
  EXPECT_TRUE(refused("'a'.matches('(' & '(')", "the regular expression cannot be used"));
}

TEST(FhirpathLimits, HoldForPowersAndDates) {
  EXPECT_EQ(run("10.power(30)"), "{}");
  EXPECT_EQ(run("1.power(2147483647)"), "1");
  EXPECT_EQ(run("2.0.power(100000)"), "{}");
  EXPECT_EQ(run("0.5.power(-2147483647)"), "{}");
  EXPECT_EQ(run("1.0.power(2147483647) = 1"), "true");
  EXPECT_EQ(run("(-1).power(2147483646)"), "1");
  EXPECT_EQ(run("(-1).power(9223372036854775806.0) = 1"), "true");
  EXPECT_EQ(run("(-1).power(-9223372036854775808.0) = 1"), "true");
  EXPECT_EQ(run("(-1).power(2147483647)"), "-1");
  EXPECT_EQ(run("0.0.power(2147483647) = 0"), "true");
  EXPECT_EQ(run("(1.00001).power(1234567).round(8)"), "229947.95324565");
  EXPECT_EQ(run("(1.000000001).power(999999999).round(8)"), "2.71828182");
  EXPECT_EQ(run("(1.000000001).power(-999999999).round(8)"), "0.36787944");
  EXPECT_EQ(run("@2026 + 2147483647 milliseconds"), "@2026");
  EXPECT_EQ(run("'x'.substring(2147483647)"), "{}");
  EXPECT_EQ(run("(1 | 2).skip(2147483647)"), "{}");
  EXPECT_EQ(run("(1 | 2)[2147483647]"), "{}");
}

}  // namespace
}  // namespace engine::fhirpath::testing
