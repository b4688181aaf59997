// Which codes are units, and what they mean. Expected values: UCUM 2.2 grammar and tables, or
// worked out by hand.

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "engine/ucum/ucum.h"

namespace engine::ucum {
namespace {

const UnitTable& table() {
  return UnitTable::standard();
}

TEST(UcumGrammar, TakesWhatTheGrammarAllows) {
  constexpr std::string_view kCodes[] = {
      "1",
      "m",
      "%",
      "10*",
      "10^",
      "10*3/uL",
      "10*+3",
      "10*-7.s",
      "/min",
      "{score}",
      "{breaths}/min",
      "%{vol}",
      "mm[Hg]",
      "cm[H2O]",
      "[in_i'H2O]",
      "L/min",
      "l/min",
      "mL/kg",
      "dyn.s/(cm5.m2)",
      "m[iU]/mL",
      "kg.m/s2",
      "cal_[15]",
      "B[10.nV]",
      "[m/s2/Hz^(1/2)]",
      "[degF]",
      "mCel",
      "dB",
      "2.5",
      "4.[pi].10*-7.N/A2",
      "((m))",
      "m/(s/(kg))",
      "a_j",
      "dag",
      "dam",
      "cd",
      "KiBy",
      "m0",
      "g%",
      "'",
      "''",
      "[arb'U]/mL",
      "{}",
      "m2{a}",
      "{a}.{b}",
      // Common codes that FHIR R4 publishes (value set ucum-common).
      "/100{WBC}",
      "g/(8.h){shift}",
      "{3 times}/d",
      "%{Negative Control}",
  };
  for (const std::string_view code : kCodes) {
    const auto parsed = table().parse(code);
    EXPECT_TRUE(parsed.has_value()) << code << ": " << (parsed ? "" : parsed.error().text());
  }
}

TEST(UcumGrammar, RefusesEverythingElseAndSaysWhere) {
  struct Case {
    std::string_view code;
    std::string_view where;
  };
  constexpr Case kCases[] = {
      {"", "character 1"},        {"/", "character 2"},         {"m/", "character 3"},
      {"m//s", "character 3"},    {".m", "character 1"},        {"m.", "character 3"},
      {"m..s", "character 3"},    {"m s", "character 2"},       {" m", "character 1"},
      {"m ", "character 2"},      {"(m", "character 1"},        {"m)", "character 2"},
      {"()", "character 2"},      {"(m)2", "character 4"},      {"(m)(s)", "character 4"},
      {"(/m)", "character 2"},    {"{a", "character 1"},        {"a}", "character 2"},
      {"{a{b}}", "character 3"},  {"{a\tb}", "character 3"},    {"{a}{b}", "character 4"},
      {"m{a}{b}", "character 5"}, {"m{a}2", "character 5"},     {"{a}m", "character 4"},
      {"[in_i", "character 1"},   {"[in i]", "character 4"},    {"in_i]", "character 1"},
      {"m]", "character 2"},      {"12h", "character 1"},       {"g/12h", "character 3"},
      {"10+3/uL", "character 1"}, {"kmin", "character 1"},      {"k%", "character 1"},
      {"mmm", "character 1"},     {"kkg", "character 1"},       {"m--2", "character 1"},
      {"m+", "character 1"},      {"+2", "character 1"},        {"0", "character 1"},
      {"m/0", "character 3"},     {"\xC2\xB5g", "character 1"}, {"m{\xE9\x8C\xA0}", "character 3"},
      {"m\t", "character 2"},     {"m=1", "character 2"},       {"\"m\"", "character 1"},
      {"M", "character 1"},       {"LITER", "character 1"},     {"Cel/min", "character 4"},
      {"Cel2", "character 4"},    {"2.Cel", "character 2"},     {"/Cel", "character 1"},
      {"m.[pH]", "character 2"},  {"m99999", "character 2"},    {"Ym9999", "character 1"},
  };
  for (const Case& c : kCases) {
    const auto parsed = table().parse(c.code);
    ASSERT_FALSE(parsed.has_value()) << c.code;
    EXPECT_EQ(parsed.error().where, c.where) << c.code << ": " << parsed.error().detail;
    EXPECT_FALSE(table().is_valid(c.code)) << c.code;
    EXPECT_FALSE(table().validate(c.code).has_value()) << c.code;
  }
}

TEST(UcumGrammar, BoundsTheLengthOfACode) {
  const auto filled = [](std::size_t bytes) { return "m{" + std::string(bytes - 3, 'x') + "}"; };
  EXPECT_TRUE(table().is_valid(filled(base::limits::kUnitCodeBytesMax - 1)));
  EXPECT_TRUE(table().is_valid(filled(base::limits::kUnitCodeBytesMax)));
  const auto over = table().parse(filled(base::limits::kUnitCodeBytesMax + 1));
  ASSERT_FALSE(over.has_value());
  EXPECT_EQ(over.error().code, base::ErrorCode::kLimit);
}

TEST(UcumGrammar, BoundsTheDepthOfParentheses) {
  const auto nested = [](int depth) {
    const auto n = static_cast<std::size_t>(depth);
    return std::string(n, '(') + "m" + std::string(n, ')');
  };
  EXPECT_TRUE(table().is_valid(nested(base::limits::kUnitDepthMax - 1)));
  EXPECT_TRUE(table().is_valid(nested(base::limits::kUnitDepthMax)));
  const auto over = table().parse(nested(base::limits::kUnitDepthMax + 1));
  ASSERT_FALSE(over.has_value());
  EXPECT_EQ(over.error().code, base::ErrorCode::kLimit);
}

TEST(UcumHints, NameTheCodeThatWasProbablyMeant) {
  struct Case {
    std::string_view written;
    std::string_view meant;
  };
  constexpr Case kCases[] = {
      {"mmHg", "mm[Hg]"},
      {"MMHG", "mm[Hg]"},
      {"cmH2O", "cm[H2O]"},
      {"cmH20", "cm[H2O]"},
      {"cm[H20]", "cm[H2O]"},
      {"bpm", "/min"},
      {"lpm", "L/min"},
      {"LPM", "L/min"},
      {"cc", "mL"},
      {"sec", "s"},
      {"hr", "h"},
      {"lbs", "[lb_av]"},
      {"in", "[in_i]"},
      {"percent", "%"},
      {"score", "{score}"},
      {"breaths/min", "{breaths}/min"},
      {"beats/min", "{beats}/min"},
      {"mcg/kg", "ug/kg"},
      {"\xC2\xB5g", "ug"},
      {"\xC2\xB0"
       "C",
       "Cel"},
      {"\xC2\xB0"
       "F",
       "[degF]"},
      {"iU", "[iU]"},
      {"in_i", "[in_i]"},
      {"12h", "12.h"},
      {"mg/12h", "mg/(12.h)"},
      {"LITER", "L"},
      {"KG", "kg"},
      {"mL / min", "mL/min"},
      {"lbs/hr", "[lb_av]/h"},
      {"METs", "[MET]"},
  };
  for (const Case& c : kCases) {
    EXPECT_EQ(table().suggest(c.written), c.meant) << c.written;
    const auto parsed = table().parse(c.written);
    ASSERT_FALSE(parsed.has_value()) << c.written;
    EXPECT_NE(parsed.error().detail.find(c.meant), std::string::npos) << parsed.error().detail;
    EXPECT_TRUE(table().is_valid(c.meant)) << c.meant;
  }
}

TEST(UcumHints, StaySilentWithoutAGoodGuess) {
  for (const std::string_view code : {"", "xyzzy", "m/", "mg/bpm", "Cel/min", "mm[Hg]", "(m"}) {
    EXPECT_EQ(table().suggest(code), "") << code;
  }
}

TEST(UcumSuspicions, AreValidCodesThatSaySomethingElse) {
  for (const std::string_view code : {"C", "F", "ml", "l/min", "mph", "pt", "ft", "pH", "S", "H"}) {
    const Suspicion* suspicion = suspect(code);
    ASSERT_NE(suspicion, nullptr) << code;
    EXPECT_TRUE(table().is_valid(code)) << code;
    EXPECT_TRUE(table().is_valid(suspicion->probably)) << suspicion->probably;
  }
  for (const std::string_view code : {"Cel", "[degF]", "mL", "L/min", "%", "", "c"}) {
    EXPECT_EQ(suspect(code), nullptr) << code;
  }
}

TEST(UcumDisplay, SpellsACodeOut) {
  struct Case {
    std::string_view code;
    std::string_view words;
  };
  constexpr Case kCases[] = {
      {"", "(unity)"},
      {"1", "(unity)"},
      {"m", "(meter)"},
      {"10*23", "(the number ten for arbitrary powers ^ 23)"},
      {"m3.kg-1.s-2", "(meter ^ 3) * (kilogram ^ -1) * (second ^ -2)"},
      {"mL/min", "(milliliter) / (minute)"},
      {"/min", "1 / (minute)"},
      {"mg/(8.h)", "(milligram) / (8 * (hour))"},
      {"{breaths}/min", "{breaths} / (minute)"},
      {"%{vol}", "(percent) {vol}"},
  };
  for (const Case& c : kCases) {
    const auto words = table().display(c.code);
    ASSERT_TRUE(words.has_value()) << c.code;
    EXPECT_EQ(*words, c.words);
  }
  EXPECT_FALSE(table().display("mmHg").has_value());
}

TEST(UcumMeaning, KnowsSameDifferentAndIncomparable) {
  struct Case {
    std::string_view a;
    std::string_view b;
    bool comparable;
    bool same;
  };
  constexpr Case kCases[] = {
      {"L/min", "l/min", true, true},
      {"Pa", "N/m2", true, true},
      {"{breaths}/min", "/min", true, true},
      {"{score}", "1", true, true},
      {"%{vol}", "%", true, true},
      {"m[iU]/mL", "[IU]/L", true, true},
      {"mo", "a/12", true, true},
      {"Hz", "Bq", true, true},
      {"mm[Hg]", "kPa", true, false},
      {"mol/L", "/L", true, false},
      {"Cel", "K", true, false},
      {"mCel", "Cel", true, false},
      {"deg", "rad", true, false},
      {"[iU]", "[arb'U]", false, false},
      {"[iU]", "1", false, false},
      {"L/min", "L", false, false},
      {"g", "N", false, false},
      {"rad", "1", false, false},
  };
  for (const Case& c : kCases) {
    const auto a = table().parse(c.a);
    const auto b = table().parse(c.b);
    ASSERT_TRUE(a.has_value() && b.has_value()) << c.a << ' ' << c.b;
    EXPECT_EQ(comparable(*a, *b), c.comparable) << c.a << ' ' << c.b;
    EXPECT_EQ(same_meaning(*a, *b), c.same) << c.a << ' ' << c.b;
    EXPECT_EQ(table().comparable(c.b, c.a), c.comparable) << c.a << ' ' << c.b;
  }
}

TEST(UcumMeaning, WritesTheCanonicalCode) {
  struct Case {
    std::string_view code;
    std::string_view canonical;
  };
  constexpr Case kCases[] = {
      {"1", "1"},
      {"%", "1"},
      {"mm[Hg]", "m-1.s-2.g"},
      {"L/min", "m3.s-1"},
      {"m[iU]/mL", "m-3.[iU]"},
      {"Cel", "K"},
      {"deg", "rad"},
      {"[iU]/[IU]", "1"},
      {"[todd'U].[iU]/[beth'U]", "[iU].[beth'U]-1.[todd'U]"},
  };
  for (const Case& c : kCases) {
    const auto unit = table().parse(c.code);
    ASSERT_TRUE(unit.has_value()) << c.code;
    EXPECT_EQ(table().canonical_code(*unit), c.canonical);
    EXPECT_TRUE(table().is_valid(c.canonical));
  }
}

TEST(UcumMeaning, TellsSpecialAndArbitraryUnits) {
  EXPECT_TRUE(table().parse("Cel")->is_special());
  EXPECT_TRUE(table().parse("mCel{oral}")->is_special());
  EXPECT_FALSE(table().parse("K")->is_special());
  EXPECT_TRUE(table().parse("[iU]/mL")->is_arbitrary());
  EXPECT_FALSE(table().parse("[iU]/[IU]")->is_arbitrary());
  EXPECT_TRUE(table().parse("mol/L")->dimension() == table().parse("/L")->dimension());
  EXPECT_TRUE(table().parse("{score}")->is_dimensionless());
}

}  // namespace
}  // namespace engine::ucum
