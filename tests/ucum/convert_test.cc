// Conversions, exact. Expected values worked out by hand from the sizes in UCUM 2.2's tables unless
// a line says else.

#include <gtest/gtest.h>

#include "engine/ucum/ucum.h"

namespace engine::ucum {
namespace {

using base::Decimal;

const UnitTable& table() {
  return UnitTable::standard();
}

Decimal number(std::string_view text) {
  const auto parsed = Decimal::parse(text);
  EXPECT_TRUE(parsed.has_value()) << text;
  return parsed ? *parsed : Decimal();
}

Quantity quantity(std::string_view value, std::string_view code) {
  const auto unit = table().parse(code);
  EXPECT_TRUE(unit.has_value()) << code;
  return {number(value), unit ? *unit : Unit()};
}

std::string converted(std::string_view value, std::string_view from, std::string_view to) {
  const auto result = table().convert(number(value), from, to);
  return result ? result->to_string() : result.error().detail;
}

TEST(UcumConvert, IsExactWhereTheDigitsEnd) {
  struct Case {
    std::string_view value;
    std::string_view from;
    std::string_view to;
    std::string_view result;
  };
  constexpr Case kCases[] = {
      {"6.3", "m", "m", "6.3"},
      {"6.30", "m", "m", "6.30"},
      {"100", "cm", "m", "1.00"},
      {"60", "s", "min", "1.0"},
      {"90", "min", "h", "1.5"},
      {"2", "h", "min", "120"},
      {"1", "[ft_i]", "m", "0.3048"},
      {"6.30", "[in_i]", "m", "0.16002"},
      {"150", "[lb_av]", "kg", "68.0388555"},
      {"120", "mm[Hg]", "kPa", "15.99864"},
      {"1", "kPa", "Pa", "1000"},
      {"10", "cm[H2O]", "Pa", "980.665"},
      {"2", "L/min", "mL/s", "33.33333333333333333333333333333333"},
      {"28", "%", "1", "0.28"},
      {"3.5", "mL/kg/min", "[MET]", "1.0"},
      {"1", "[MET]", "mL/min/kg", "3.5"},
      {"180", "deg", "[pi].rad", "1.00"},
      {"1", "circ", "deg", "360"},
      {"1", "m[iU]/mL", "[IU]/L", "1"},
      {"5", "mmol/L", "mol/m3", "5"},
      {"1", "[mi_us]", "m", "1609.347218694437388874777749555499"},
      {"-2.50", "kg", "g", "-2500"},
      {"0.00", "kg", "g", "0.00"},
      {"1e-7", "s", "ns", "100"},
      {"4", "s/m", "ms/mm", "4"},
      {"1", "KiBy", "bit", "8192"},
      {"1", "wk", "d", "7"},
      {"1", "a", "mo", "12"},
      {"1", "kcal", "J", "4184"},
      {"99999999999999999999999999999999999999", "g", "g",
       "99999999999999999999999999999999999999"},
      {"12345678901234567890123456789012345678", "g", "mg",
       "12345678901234567890123456789012345678000"},
  };
  for (const Case& c : kCases) {
    EXPECT_EQ(converted(c.value, c.from, c.to), c.result)
        << c.value << ' ' << c.from << " in " << c.to;
  }
}

TEST(UcumConvert, RoundsHalfAwayFromZeroAtThirtyFourDigits) {
  EXPECT_EQ(converted("1", "s", "min"), "0.01666666666666666666666666666666667");
  EXPECT_EQ(converted("-1", "s", "min"), "-0.01666666666666666666666666666666667");
  EXPECT_EQ(converted("2", "s", "(9.s)"), "0.2222222222222222222222222222222222");
  EXPECT_EQ(converted("1", "s", "(7.s)"), "0.1428571428571428571428571428571429");
  // 38 digits divided by three: the wide path.
  EXPECT_EQ(converted("99999999999999999999999999999999999998", "s", "(3.s)"),
            "33333333333333333333333333333333330000");
  // A divisor of more than 64 bits, 3^41 = 36472996377170786403.
  EXPECT_EQ(converted("1", "s", "(36472996377170786403.s)"),
            "0.00000000000000000002741754446656653027094019466869083");
}

TEST(UcumConvert, TemperaturesBothWays) {
  struct Case {
    std::string_view value;
    std::string_view from;
    std::string_view to;
    std::string_view result;
  };
  constexpr Case kCases[] = {
      {"37.5", "Cel", "[degF]", "99.5"},
      {"98.6", "[degF]", "Cel", "37.0"},
      {"0", "Cel", "K", "273.15"},
      {"0", "K", "Cel", "-273.15"},
      {"-40", "Cel", "[degF]", "-40"},
      {"100", "[degF]", "Cel", "37.77777777777777777777777777777778"},
      {"80", "[degRe]", "Cel", "100"},
      {"100", "Cel", "[degRe]", "80"},
      {"36600", "mCel", "Cel", "36.600"},
      {"36.6", "Cel", "mCel", "36600"},
      {"310.15", "K", "Cel", "37.00"},
      {"491.67", "[degR]", "Cel", "0.00"},
  };
  for (const Case& c : kCases) {
    EXPECT_EQ(converted(c.value, c.from, c.to), c.result)
        << c.value << ' ' << c.from << " in " << c.to;
  }
}

TEST(UcumConvert, BentScales) {
  struct Case {
    std::string_view value;
    std::string_view from;
    std::string_view to;
    std::string_view result;
  };
  constexpr Case kCases[] = {
      {"7", "[pH]", "mol/L", "0.0000001"},
      {"7.4", "[pH]", "nmol/L", "39.8107170553497250770252305087752"},
      {"0.001", "mol/L", "[pH]", "3"},
      {"3", "B", "1", "1000"},
      {"20", "dB", "1", "100"},
      {"100", "1", "dB", "20"},
      {"1", "Np", "1", "2.718281828459045235360287471352662"},
      {"8", "1", "bit_s", "3"},
      {"45", "deg", "%[slope]", "100"},
      {"100", "[p'diop]", "deg", "45"},
      {"1", "V", "B[mV]", "6"},
      {"2", "B[V]", "V", "10"},
      {"0", "B[SPL]", "uPa", "20"},
      {"3", "[m/s2/Hz^(1/2)]", "m2/s3", "9"},
      {"1", "circ", "rad", "6.283185307179586476925286766559006"},
      {"180", "deg", "rad", "3.141592653589793238462643383279503"},
  };
  for (const Case& c : kCases) {
    EXPECT_EQ(converted(c.value, c.from, c.to), c.result)
        << c.value << ' ' << c.from << " in " << c.to;
  }
}

TEST(UcumConvert, RefusesWhatHasNoAnswer) {
  struct Case {
    std::string_view value;
    std::string_view from;
    std::string_view to;
    base::ErrorCode code;
  };
  constexpr Case kCases[] = {
      {"1", "kg", "m", base::ErrorCode::kUnitMismatch},
      {"1", "[iU]", "[arb'U]", base::ErrorCode::kUnitMismatch},
      {"1", "[iU]", "1", base::ErrorCode::kUnitMismatch},
      {"1", "rad", "1", base::ErrorCode::kUnitMismatch},
      {"1", "mmHg", "kPa", base::ErrorCode::kInvalid},
      {"1", "kPa", "mmHg", base::ErrorCode::kInvalid},
      {"0", "mol/L", "[pH]", base::ErrorCode::kOutOfRange},
      {"-1", "1", "B", base::ErrorCode::kOutOfRange},
      {"-3", "[m/s2/Hz^(1/2)]", "m2/s3", base::ErrorCode::kOutOfRange},
      {"1e900", "Ym9", "ym9", base::ErrorCode::kOutOfRange},
      {"1e-1000", "m", "km", base::ErrorCode::kOutOfRange},
      {"1e1000", "Np", "1", base::ErrorCode::kOutOfRange},
      {"-1e1000", "[pH]", "mol/L", base::ErrorCode::kOutOfRange},
  };
  for (const Case& c : kCases) {
    const auto result = table().convert(number(c.value), c.from, c.to);
    ASSERT_FALSE(result.has_value())
        << c.value << ' ' << c.from << " in " << c.to << ": " << result->to_string();
    EXPECT_EQ(result.error().code, c.code) << c.from << " in " << c.to;
  }
}

TEST(UcumCompare, DoesNotRound) {
  struct Case {
    std::string_view a;
    std::string_view a_unit;
    std::string_view b;
    std::string_view b_unit;
    int order;
  };
  constexpr Case kCases[] = {
      {"1", "min", "60", "s", 0},
      {"1", "s", "0.01666666666666666666666666666666666667", "min", -1},
      {"1", "s", "0.01666666666666666666666666666666666666", "min", 1},
      {"2", "L/min", "2000", "mL/min", 0},
      {"37.0", "Cel", "98.6", "[degF]", 0},
      {"37.1", "Cel", "98.6", "[degF]", 1},
      {"-1", "Cel", "0", "Cel", -1},
      {"180", "deg", "1", "[pi].rad", 0},
      {"180", "deg", "3.14", "rad", 1},
      {"7", "[pH]", "8", "[pH]", 1},  // more acid is the greater concentration
      {"7", "[pH]", "100", "nmol/L", 0},
      {"1", "[iU]", "1000", "m[iU]", 0},
      {"-5", "kg", "-4999", "g", -1},
      {"0", "kg", "0.000", "g", 0},
  };
  for (const Case& c : kCases) {
    const auto result = compare(quantity(c.a, c.a_unit), quantity(c.b, c.b_unit));
    ASSERT_TRUE(result.has_value()) << c.a_unit << ' ' << c.b_unit;
    const int sign = *result < 0 ? -1 : (*result > 0 ? 1 : 0);
    EXPECT_EQ(sign, c.order) << c.a << c.a_unit << ' ' << c.b << c.b_unit;
    const auto mirrored = compare(quantity(c.b, c.b_unit), quantity(c.a, c.a_unit));
    ASSERT_TRUE(mirrored.has_value());
    EXPECT_EQ(*mirrored < 0 ? -1 : (*mirrored > 0 ? 1 : 0), -c.order);
  }
  EXPECT_FALSE(compare(quantity("1", "kg"), quantity("1", "m")).has_value());
}

TEST(UcumCompare, SizesOfUnits) {
  const auto size = [](std::string_view a, std::string_view b) {
    return compare_size(*table().parse(a), *table().parse(b));
  };
  EXPECT_EQ(*size("g", "kg"), std::strong_ordering::less);
  EXPECT_EQ(*size("[lb_av]", "kg"), std::strong_ordering::less);
  EXPECT_EQ(*size("L", "dm3"), std::strong_ordering::equal);
  EXPECT_EQ(*size("circ", "rad"), std::strong_ordering::greater);
  EXPECT_FALSE(size("Cel", "K").has_value());
  EXPECT_FALSE(size("g", "m").has_value());
}

TEST(UcumArithmetic, ProductsAndQuotientsInBaseUnits) {
  struct Case {
    bool divide;
    std::string_view a;
    std::string_view a_unit;
    std::string_view b;
    std::string_view b_unit;
    std::string_view value;
    std::string_view unit;
  };
  constexpr Case kCases[] = {
      {false, "1.5", "g", "2", "m", "3.0", "m.g"},
      {false, "2.0", "cm", "2.0", "m", "0.040", "m2"},
      {false, "-2", "g", "3", "1", "-6", "g"},
      {false, "2", "m", "0", "m", "0", "m2"},
      {true, "1.5", "g", "2", "m", "0.75", "m-1.g"},
      {true, "10", "m", "4", "m", "2.5", "1"},
      {true, "1", "[lb_av]/h", "1", "kg/s", "0.0001259978805555555555555555555555556", "1"},
      {true, "-1", "m", "-4", "s", "0.25", "m.s-1"},
      {true, "6", "[iU]", "2", "mL", "3000000", "m-3.[iU]"},
      {true, "0", "m", "2", "s", "0", "m.s-1"},
  };
  for (const Case& c : kCases) {
    const Quantity a = quantity(c.a, c.a_unit);
    const Quantity b = quantity(c.b, c.b_unit);
    const auto result = c.divide ? divide(a, b) : multiply(a, b);
    ASSERT_TRUE(result.has_value()) << c.a_unit << ' ' << c.b_unit;
    EXPECT_EQ(result->value.to_string(), c.value) << c.a_unit << ' ' << c.b_unit;
    EXPECT_EQ(table().canonical_code(result->unit), c.unit);
  }
  EXPECT_EQ(divide(quantity("1", "m"), quantity("0", "s")).error().code, base::ErrorCode::kInvalid);
  EXPECT_EQ(multiply(quantity("1", "Cel"), quantity("2", "1")).error().code,
            base::ErrorCode::kUnitMismatch);
  EXPECT_EQ(divide(quantity("1", "m"), quantity("2", "[pH]")).error().code,
            base::ErrorCode::kUnitMismatch);
  EXPECT_EQ(multiply(quantity("1e900", "m"), quantity("1e900", "m")).error().code,
            base::ErrorCode::kOutOfRange);
}

TEST(UcumArithmetic, CanonicalFormOfSpecialUnitsIsTheirReference) {
  const auto warm = canonical(quantity("37.5", "Cel"));
  ASSERT_TRUE(warm.has_value());
  EXPECT_EQ(warm->value.to_string(), "310.65");
  EXPECT_EQ(table().canonical_code(warm->unit), "K");
  const auto pressure = canonical(quantity("120", "mm[Hg]"));
  ASSERT_TRUE(pressure.has_value());
  EXPECT_EQ(pressure->value.to_string(), "15998640");
}

TEST(UcumArithmetic, BigMagnitudesStayExact) {
  // Six constants of ten digits pass 128 bits and come back.
  EXPECT_EQ(converted("3", "[m_e]4.[e]4.[h]2/([m_p]2.[c])", "[m_e]4.[e]4.[h]2/([m_p]2.[c])"), "3");
  EXPECT_EQ(converted("3", "k[m_e]4.[e]4.[h]2", "[m_e]4.[e]4.[h]2"), "3000000000000");
  EXPECT_EQ(converted("2", "mol9", "mmol9"), "2000000000000000000000000000");
}

}  // namespace
}  // namespace engine::ucum
