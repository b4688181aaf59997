#pragma once
// Exact decimal numbers: value = coefficient x 10^exponent, at most 38 significant digits, no
// binary rounding. For clinical values and FHIRPath arithmetic. The text of a number in a document
// is kept by json::Node; a Decimal is made from it when arithmetic is needed, and its scale (digits
// after the point) survives: "2.00" prints "2.00". Value type, thread safe. Source of the precision
// rules: FHIR R4 decimal (precision is meaning); FHIRPath 2.0.0 (at least 28 digits, 8 after the
// point).

#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "engine/base/result.h"

namespace engine::base {

__extension__ using Int128 = __int128;
__extension__ using UInt128 = unsigned __int128;

class Decimal {
 public:
  static constexpr int kDigitsMax = 38;
  static constexpr int kExponentMax = 1'000;  // beyond it no quantity of this trade exists

  constexpr Decimal() = default;
  // coefficient x 10^exponent. |coefficient| < 10^38.
  constexpr Decimal(Int128 coefficient, int exponent)
      : coefficient_(coefficient), exponent_(exponent) {}
  static constexpr Decimal from_int(std::int64_t value) { return {value, 0}; }

  // FHIR decimal lexical form: -?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?; a leading '+' and
  // leading zeros are also read (FHIRPath string conversion). Errors: kInvalid, kOutOfRange (over
  // 38 digits or exponent over 1000).
  static Result<Decimal> parse(std::string_view text);

  constexpr Int128 coefficient() const { return coefficient_; }
  constexpr int exponent() const { return exponent_; }
  // Digits after the point as written: 2.00 has 2; 1e3 has 0.
  constexpr int scale() const { return exponent_ < 0 ? -exponent_ : 0; }
  constexpr bool is_zero() const { return coefficient_ == 0; }
  constexpr int sign() const { return coefficient_ < 0 ? -1 : (coefficient_ > 0 ? 1 : 0); }
  bool is_integer() const;
  // The value when it is whole and fits; nullopt otherwise.
  std::optional<std::int64_t> to_int64() const;
  // For display scales and transcendental functions only; never for a value that is stored or sent.
  double to_double() const;

  // Plain notation, the scale kept: "2.00", "-0.5", "1000".
  std::string to_string() const;

  constexpr Decimal negated() const { return {-coefficient_, exponent_}; }
  Decimal abs() const { return coefficient_ < 0 ? negated() : *this; }

  // Exact when operands and sum fit 38 digits at the finer exponent; otherwise rounded to 38
  // significant digits, to within one unit of the last place. nullopt when that would lose whole
  // digits.
  static std::optional<Decimal> add(const Decimal& a, const Decimal& b);
  static std::optional<Decimal> subtract(const Decimal& a, const Decimal& b) {
    return add(a, b.negated());
  }
  // Exact when it fits 38 digits; otherwise rounded half away from zero to 38 significant digits.
  static std::optional<Decimal> multiply(const Decimal& a, const Decimal& b);
  // Rounded half away from zero to `scale` digits after the point, then trailing zeros removed.
  // nullopt on zero divisor or overflow.
  static std::optional<Decimal> divide(const Decimal& a, const Decimal& b, int scale = 20);
  // Truncated quotient and the remainder with the sign of a. nullopt on zero divisor or overflow.
  static std::optional<Decimal> integer_quotient(const Decimal& a, const Decimal& b);
  static std::optional<Decimal> remainder(const Decimal& a, const Decimal& b);

  // To `scale` digits after the point, half away from zero; fewer digits are not padded.
  Decimal rounded(int scale) const;
  // Exactly `scale` digits after the point (rounded or padded with zeros; padding stops at 38
  // digits).
  Decimal with_scale(int scale) const;
  Decimal truncated() const;
  Decimal floor() const;
  Decimal ceiling() const;
  Decimal without_trailing_zeros() const;

  // By value: 1.10 == 1.1.
  friend bool operator==(const Decimal& a, const Decimal& b) { return compare(a, b) == 0; }
  friend std::strong_ordering operator<=>(const Decimal& a, const Decimal& b) {
    const int c = compare(a, b);
    return c < 0 ? std::strong_ordering::less
                 : (c > 0 ? std::strong_ordering::greater : std::strong_ordering::equal);
  }
  static int compare(const Decimal& a, const Decimal& b);

 private:
  Int128 coefficient_ = 0;
  int exponent_ = 0;
};

}  // namespace engine::base
