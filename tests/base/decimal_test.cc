// Exact decimals. Expected values worked out by hand, and products by the GNU multiple precision
// library.

#include "engine/base/decimal.h"

#include <cmath>
#include <random>
#include <string>

#include <gmpxx.h>
#include <gtest/gtest.h>

namespace engine::base {
namespace {

const std::string kNines(38, '9');
const std::string kThrees(38, '3');

Decimal number(std::string_view text) {
  const Result<Decimal> parsed = Decimal::parse(text);
  EXPECT_TRUE(parsed.has_value()) << text;
  return parsed ? *parsed : Decimal();
}

std::string text_of(const std::optional<Decimal>& value) {
  return value ? value->to_string() : "none";
}

TEST(Decimal, ReadsAndKeepsTheDigitsWritten) {
  struct Case {
    std::string text;
    std::string printed;
    int scale;
  };
  const Case cases[] = {
      {"0", "0", 0},
      {"-0", "0", 0},
      {"7", "7", 0},
      {"2.00", "2.00", 2},
      {"-0.5", "-0.5", 1},
      {"0.010", "0.010", 3},
      {"+1.5", "1.5", 1},
      {"007", "7", 0},
      {"1e3", "1000", 0},
      {"1.50e1", "15.0", 1},
      {"1.5E+2", "150", 0},
      {"12e-1", "1.2", 1},
      {"0e5", "0", 0},
      {"0.00", "0.00", 2},
      {"5e-3", "0.005", 3},
      {kNines, kNines, 0},
      {"-" + kNines, "-" + kNines, 0},
      {"0." + std::string(37, '0') + "1", "0." + std::string(37, '0') + "1", 38},
      {"000000000000000000000000000000000000000000000001", "1", 0},
  };
  for (const Case& c : cases) {
    const Result<Decimal> parsed = Decimal::parse(c.text);
    ASSERT_TRUE(parsed.has_value()) << c.text;
    EXPECT_EQ(parsed->to_string(), c.printed) << c.text;
    EXPECT_EQ(parsed->scale(), c.scale) << c.text;
  }
}

TEST(Decimal, RefusesWhatIsNoNumber) {
  for (const char* text :
       {"",    "-",  "+",  ".",     ".5",   "5.",  "1e",       "1e+", "e5",    "1.2.3",
        "1,5", " 1", "1 ", "1e5.0", "0x10", "NaN", "Infinity", "--1", "1_000", "\xD9\xA1"}) {
    const Result<Decimal> parsed = Decimal::parse(text);
    ASSERT_FALSE(parsed.has_value()) << text;
    EXPECT_EQ(parsed.error().code, ErrorCode::kInvalid) << text;
  }
}

TEST(Decimal, BoundsDigitsAndExponent) {
  EXPECT_TRUE(Decimal::parse(std::string(37, '9')).has_value());
  EXPECT_TRUE(Decimal::parse(kNines).has_value());
  EXPECT_TRUE(Decimal::parse("1e999").has_value());
  EXPECT_TRUE(Decimal::parse("1e1000").has_value());
  EXPECT_TRUE(Decimal::parse("1e-1000").has_value());
  for (const std::string& text :
       {kNines + "9", "1." + std::string(38, '0'), std::string("1e1001"), std::string("1e-1001"),
        std::string("0.1e-1000"), std::string("1e99999999999999999999")}) {
    const Result<Decimal> parsed = Decimal::parse(text);
    ASSERT_FALSE(parsed.has_value()) << text;
    EXPECT_EQ(parsed.error().code, ErrorCode::kOutOfRange) << text;
  }
}

TEST(Decimal, AddsAndSubtracts) {
  struct Case {
    std::string a;
    std::string b;
    std::string sum;
    std::string difference;
  };
  const Case cases[] = {
      {"1", "2", "3", "-1"},
      {"0.1", "0.2", "0.3", "-0.1"},
      {"1.00", "1", "2.00", "0.00"},
      {"1", "1.00", "2.00", "0.00"},
      {"0", "1.50", "1.50", "-1.50"},
      {"-2.5", "2.5", "0.0", "-5.0"},
      {"1e3", "1", "1001", "999"},
      {"1e30", "1e-5", "1000000000000000000000000000000.00001",
       "999999999999999999999999999999.99999"},
      // Digits beyond the 38th are rounded away when they are behind the point.
      {"1e30", "1e-20", "1000000000000000000000000000000.0000000",
       "1000000000000000000000000000000.0000000"},
      {"9." + std::string(37, '9'), "1", "11." + std::string(36, '0'), "8." + std::string(37, '9')},
      // A whole digit would be lost.
      {"1e38", "1", "none", "none"},
      {"1e60", "1", "none", "none"},
      {kNines, "1", "none", "99999999999999999999999999999999999998"},
      {kNines, "-1", "99999999999999999999999999999999999998", "none"},
  };
  for (const Case& c : cases) {
    EXPECT_EQ(text_of(Decimal::add(number(c.a), number(c.b))), c.sum) << c.a << " + " << c.b;
    EXPECT_EQ(text_of(Decimal::subtract(number(c.a), number(c.b))), c.difference)
        << c.a << " - " << c.b;
  }
}

TEST(Decimal, Multiplies) {
  struct Case {
    std::string a;
    std::string b;
    std::string product;
  };
  const Case cases[] = {
      {"2.0", "2.0", "4.00"},
      {"-1.5", "2", "-3.0"},
      {"0.1", "0.1", "0.01"},
      {"0", "-5", "0"},
      {"99999999999999999999", "99999999999999999999", "9999999999999999999800000000000000000000"},
      {kNines, "10", kNines + "0"},
      // 38 nines squared is 9.99...98 (38 digits before the rest) rounded to 38 digits.
      {kNines, kNines, std::string(37, '9') + "8" + std::string(38, '0')},
      // 149...998.5: the 39th digit is rounded away, and the carry runs through.
      {kNines, "1.5", "150000000000000000000000000000000000000"},
      {"1e600", "1e600", "none"},
      {"1e-600", "1e-600", "none"},
  };
  for (const Case& c : cases) {
    EXPECT_EQ(text_of(Decimal::multiply(number(c.a), number(c.b))), c.product)
        << c.a << " x " << c.b;
    EXPECT_EQ(text_of(Decimal::multiply(number(c.b), number(c.a))), c.product);
  }
}

// a x b rounded half away from zero to 38 digits, by GMP.
std::string product_by_gmp(const std::string& a, const std::string& b) {
  const mpz_class product = mpz_class(a) * mpz_class(b);
  const std::size_t digits = product.get_str().size();
  if (digits <= 38) {
    return product.get_str();
  }
  mpz_class power;
  mpz_ui_pow_ui(power.get_mpz_t(), 10, digits - 38);
  const mpz_class rounded = (product + power / 2) / power;
  return mpz_class(rounded * power).get_str();
}

TEST(Decimal, MultipliesAsGmpDoes) {
  std::mt19937_64 random(38);
  const auto integer = [&random](std::size_t digits) {
    std::string text(1, static_cast<char>('1' + random() % 9));
    // Runs of nines and of noughts, where a carry or a cut in the wrong place would show.
    const char run = "09x"[random() % 3];
    while (text.size() < digits) {
      text += run == 'x' ? static_cast<char>('0' + random() % 10) : run;
    }
    return text;
  };
  for (std::size_t left = 1; left <= 38; ++left) {
    for (std::size_t right = 1; right <= 38; ++right) {
      for (int round = 0; round < 4; ++round) {
        const std::string a = integer(left);
        const std::string b = integer(right);
        const std::optional<Decimal> product = Decimal::multiply(number(a), number(b));
        ASSERT_TRUE(product.has_value());
        ASSERT_EQ(product->to_string(), product_by_gmp(a, b)) << a << " x " << b;
      }
    }
  }
}

TEST(Decimal, DividesToAScale) {
  struct Case {
    std::string a;
    std::string b;
    int scale;
    std::string quotient;
  };
  const Case cases[] = {
      {"1", "4", 20, "0.25"},
      {"1", "3", 20, "0.33333333333333333333"},
      {"2", "3", 20, "0.66666666666666666667"},
      {"-2", "3", 4, "-0.6667"},
      {"1", "8", 2, "0.13"},
      {"-1", "8", 2, "-0.13"},
      {"100", "8", 0, "13"},
      {"6.00", "3", 20, "2"},
      {"1e3", "1e-3", 20, "1000000"},
      {"0", "7", 20, "0"},
      {"1", "3", 38, "0." + kThrees},
      // One rounding only: 0.46e-20 is nearer to zero than to 1e-20.
      {"46e-22", "1", 20, "0"},
      {"92e-22", "2.1", 20, "0"},
      {"5e-21", "1", 20, "0.00000000000000000001"},
      {kNines, kNines, 20, "1"},
      {"1", kNines, 38, "0.00000000000000000000000000000000000001"},
      {"1", "0", 20, "none"},
      {"0", "0.00", 20, "none"},
      {"1e1000", "1e-100", 20, "none"},
  };
  for (const Case& c : cases) {
    EXPECT_EQ(text_of(Decimal::divide(number(c.a), number(c.b), c.scale)), c.quotient)
        << c.a << " / " << c.b;
  }
}

TEST(Decimal, QuotientAndRemainderTruncate) {
  struct Case {
    std::string a;
    std::string b;
    std::string quotient;
    std::string remainder;
  };
  const Case cases[] = {
      {"7", "2", "3", "1"},          {"-7", "2", "-3", "-1"},
      {"7", "-2", "-3", "1"},        {"5.5", "0.7", "7", "0.6"},
      {"1", "3", "0", "1"},          {"0", "3", "0", "0"},
      {"2.0", "1", "2", "0.0"},      {"1e20", "7", "14285714285714285714", "2"},
      {"1", "1e60", "0", "1"},       {"1", "0", "none", "none"},
      {"1e60", "1", "none", "none"},
  };
  for (const Case& c : cases) {
    EXPECT_EQ(text_of(Decimal::integer_quotient(number(c.a), number(c.b))), c.quotient) << c.a;
    EXPECT_EQ(text_of(Decimal::remainder(number(c.a), number(c.b))), c.remainder) << c.a;
  }
}

TEST(Decimal, RoundsHalfAwayFromZero) {
  struct Case {
    std::string value;
    int scale;
    std::string rounded;
    std::string exactly;  // with_scale
  };
  const Case cases[] = {
      {"2.345", 2, "2.35", "2.35"}, {"-2.345", 2, "-2.35", "-2.35"}, {"2.344", 2, "2.34", "2.34"},
      {"2.5", 0, "3", "3"},         {"-2.5", 0, "-3", "-3"},         {"0.4", 0, "0", "0"},
      {"9.99", 1, "10.0", "10.0"},  {"1.5", 3, "1.5", "1.500"},      {"7", 2, "7", "7.00"},
      {"149", -2, "100", "100"},    {"150", -2, "200", "200"},       {"1e2", 0, "100", "100"},
      {"1e-60", 2, "0.00", "0.00"},
  };
  for (const Case& c : cases) {
    EXPECT_EQ(number(c.value).rounded(c.scale).to_string(), c.rounded) << c.value;
    EXPECT_EQ(number(c.value).with_scale(c.scale).to_string(), c.exactly) << c.value;
  }
  EXPECT_EQ(number(kNines).with_scale(2).to_string(), kNines);  // padding stops at 38 digits
}

TEST(Decimal, WholePartsOfEitherSign) {
  struct Case {
    std::string value;
    std::string truncated;
    std::string floor;
    std::string ceiling;
  };
  const Case cases[] = {
      {"1.7", "1", "1", "2"},     {"-1.7", "-1", "-2", "-1"}, {"2.0", "2", "2", "2"},
      {"-2.0", "-2", "-2", "-2"}, {"0.3", "0", "0", "1"},     {"-0.3", "0", "-1", "0"},
      {"5", "5", "5", "5"},       {"1e-50", "0", "0", "1"},   {"-1e-50", "0", "-1", "0"},
  };
  for (const Case& c : cases) {
    EXPECT_EQ(number(c.value).truncated().to_string(), c.truncated) << c.value;
    EXPECT_EQ(number(c.value).floor().to_string(), c.floor) << c.value;
    EXPECT_EQ(number(c.value).ceiling().to_string(), c.ceiling) << c.value;
  }
}

TEST(Decimal, ComparesByValue) {
  EXPECT_EQ(number("1.10"), number("1.1"));
  EXPECT_EQ(number("0.000"), number("-0"));
  EXPECT_EQ(number("1e3"), number("1000.0"));
  EXPECT_LT(number("-1"), number("0"));
  EXPECT_LT(number("-2"), number("-1.5"));
  EXPECT_LT(number("99"), number("1e2"));
  EXPECT_LT(number("1e-1000"), number("1e1000"));
  EXPECT_LT(number("-1e1000"), number("1e-1000"));
  EXPECT_GT(number(kNines), number("0." + kNines));
  EXPECT_NE(number("1.0000000000000000000000000000000000001"), number("1"));
}

TEST(Decimal, KnowsWholeNumbers) {
  EXPECT_EQ(number("9223372036854775807").to_int64(), 9223372036854775807LL);
  EXPECT_EQ(number("-9223372036854775808").to_int64(), -9223372036854775807LL - 1);
  EXPECT_EQ(number("12.00").to_int64(), 12);
  EXPECT_EQ(number("1e3").to_int64(), 1000);
  EXPECT_EQ(number("0e900").to_int64(), 0);
  for (const char* text :
       {"9223372036854775808", "-9223372036854775809", "1.5", "1e19", "1e900", "1e-3"}) {
    EXPECT_FALSE(number(text).to_int64().has_value()) << text;
  }
  EXPECT_TRUE(number("3.000").is_integer());
  EXPECT_FALSE(number("3.001").is_integer());
  EXPECT_EQ(number("1.2300").without_trailing_zeros().to_string(), "1.23");
  EXPECT_EQ(number("100").without_trailing_zeros().to_string(), "100");
  EXPECT_NEAR(number("-36.60").to_double(), -36.6, 1e-12);
}

}  // namespace
}  // namespace engine::base
