#include "engine/base/decimal.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>

namespace engine::base {
namespace {

constexpr std::array<UInt128, 39> make_powers() {
  std::array<UInt128, 39> powers{};
  UInt128 value = 1;
  for (std::size_t i = 0; i < powers.size(); ++i) {
    powers[i] = value;
    if (i + 1 < powers.size()) {
      value *= 10;
    }
  }
  return powers;
}
constexpr std::array<UInt128, 39> kPowers = make_powers();
// Largest magnitude a coefficient may have: 38 nines.
constexpr UInt128 kCoefficientMax = kPowers[38] - 1;

UInt128 power_of_ten(int n) {
  return kPowers[static_cast<std::size_t>(n)];
}

UInt128 magnitude(Int128 value) {
  return value < 0 ? UInt128(0) - static_cast<UInt128>(value) : static_cast<UInt128>(value);
}

Int128 with_sign(UInt128 value, bool negative) {
  return negative ? -static_cast<Int128>(value) : static_cast<Int128>(value);
}

int digit_count(UInt128 value) {
  int n = 1;
  while (n < 39 && value >= power_of_ten(n)) {
    ++n;
  }
  return n;
}

// value / 10^n, half away from zero.
UInt128 shift_right(UInt128 value, int n) {
  if (n <= 0) {
    return value;
  }
  if (n > 38) {
    return 0;
  }
  const UInt128 p = power_of_ten(n);
  const UInt128 quotient = value / p;
  const UInt128 rest = value % p;
  return rest >= p - rest ? quotient + 1 : quotient;
}

// 256-bit unsigned, just wide enough for the product of two coefficients.
struct Wide {
  UInt128 high = 0;
  UInt128 low = 0;
};

Wide wide_product(UInt128 a, UInt128 b) {
  constexpr UInt128 kMask = (UInt128(1) << 64) - 1;
  const UInt128 a0 = a & kMask;
  const UInt128 a1 = a >> 64;
  const UInt128 b0 = b & kMask;
  const UInt128 b1 = b >> 64;
  const UInt128 p00 = a0 * b0;
  const UInt128 p01 = a0 * b1;
  const UInt128 p10 = a1 * b0;
  const UInt128 p11 = a1 * b1;
  const UInt128 middle = (p00 >> 64) + (p01 & kMask) + (p10 & kMask);
  Wide result;
  result.low = (p00 & kMask) | (middle << 64);
  result.high = p11 + (p01 >> 64) + (p10 >> 64) + (middle >> 64);
  return result;
}

// Takes 1 to 18 decimal digits off the low end; returns the highest of them.
unsigned wide_drop(Wide& value, int digits) {
  constexpr UInt128 kMask = (UInt128(1) << 64) - 1;
  const auto divisor = static_cast<std::uint64_t>(power_of_ten(digits));
  std::array<UInt128, 4> limbs = {value.high >> 64, value.high & kMask, value.low >> 64,
                                  value.low & kMask};
  UInt128 rest = 0;
  for (UInt128& limb : limbs) {
    const UInt128 current = (rest << 64) | limb;
    limb = current / divisor;
    rest = current % divisor;
  }
  value.high = (limbs[0] << 64) | limbs[1];
  value.low = (limbs[2] << 64) | limbs[3];
  const auto dropped = static_cast<std::uint64_t>(rest);
  return static_cast<unsigned>(dropped / static_cast<std::uint64_t>(power_of_ten(digits - 1)));
}

// As many digits as the value has for certain beyond a coefficient's 38, by its bits; at least one.
int surely_too_many(const Wide& value) {
  const auto high = static_cast<std::uint64_t>(value.high >> 64);
  const auto low = static_cast<std::uint64_t>(value.high);
  const int bits =
      128 + static_cast<int>(high != 0 ? 64 + std::bit_width(high) : std::bit_width(low));
  // A number of n bits is at least 2^(n-1); 0.30102 is just below log10(2).
  const int digits = (bits - 1) * 30'102 / 100'000 + 1;
  return std::clamp(digits - 38, 1, 18);
}

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

// Digits with an optional sign from `at`, which moves on. Beyond kExponentMax the value stops
// growing. nullopt when there is no digit.
std::optional<int> read_exponent(std::string_view text, std::size_t& at) {
  const bool negative = at < text.size() && text[at] == '-';
  if (negative || (at < text.size() && text[at] == '+')) {
    ++at;
  }
  const std::size_t start = at;
  int value = 0;
  while (at < text.size() && is_digit(text[at])) {
    value = value > Decimal::kExponentMax ? value : value * 10 + (text[at] - '0');
    ++at;
  }
  if (at == start) {
    return std::nullopt;
  }
  return negative ? -value : value;
}

// The sum at the finer exponent. nullopt past 38 digits.
std::optional<Decimal> add_aligned(const Decimal& coarse, const Decimal& fine) {
  const int shift = coarse.exponent() - fine.exponent();
  const UInt128 size = magnitude(coarse.coefficient());
  if (size != 0 && digit_count(size) + shift > Decimal::kDigitsMax) {
    return std::nullopt;
  }
  const UInt128 x = size == 0 ? 0 : size * power_of_ten(shift);
  const UInt128 y = magnitude(fine.coefficient());
  // Both are below 10^38 and 2^127 is about 1.7 x 10^38, so the sum is tested before it is made.
  if (coarse.sign() == fine.sign() && x > kCoefficientMax - y) {
    return std::nullopt;
  }
  return Decimal(with_sign(x, coarse.sign() < 0) + fine.coefficient(), fine.exponent());
}

}  // namespace

Result<Decimal> Decimal::parse(std::string_view text) {
  const auto invalid = [&]() -> Error { return {ErrorCode::kInvalid, "not a decimal number"}; };
  std::size_t i = 0;
  bool negative = false;
  if (i < text.size() && (text[i] == '-' || text[i] == '+')) {
    negative = text[i] == '-';
    ++i;
  }
  UInt128 coefficient = 0;
  int digits = 0;  // significant ones
  int exponent = 0;
  bool any = false;
  bool too_long = false;
  const auto take = [&](char c, bool fraction) {
    any = true;
    if (digits > 0 || c != '0') {
      if (++digits > kDigitsMax) {
        too_long = true;
        return;
      }
    }
    coefficient = coefficient * 10 + static_cast<unsigned>(c - '0');
    if (fraction) {
      --exponent;
    }
  };
  while (i < text.size() && is_digit(text[i])) {
    take(text[i++], false);
  }
  if (!any) {
    return invalid();
  }
  if (i < text.size() && text[i] == '.') {
    ++i;
    const std::size_t start = i;
    while (i < text.size() && is_digit(text[i])) {
      take(text[i++], true);
    }
    if (i == start) {
      return invalid();
    }
  }
  if (i < text.size() && (text[i] == 'e' || text[i] == 'E')) {
    const auto written = read_exponent(text, ++i);
    if (!written) {
      return invalid();
    }
    exponent += *written;
  }
  if (i != text.size()) {
    return invalid();
  }
  if (too_long) {
    return Error{ErrorCode::kOutOfRange, "a number of more than 38 digits"};
  }
  if (exponent > kExponentMax || exponent < -kExponentMax) {
    return Error{ErrorCode::kOutOfRange, "a number whose exponent is beyond 1000"};
  }
  return Decimal(with_sign(coefficient, negative), exponent);
}

bool Decimal::is_integer() const {
  return exponent_ >= 0 || without_trailing_zeros().exponent_ >= 0;
}

std::optional<std::int64_t> Decimal::to_int64() const {
  const Decimal d = without_trailing_zeros();
  if (d.exponent_ < 0 || d.exponent_ > 19) {
    return d.is_zero() ? std::optional<std::int64_t>(0) : std::nullopt;
  }
  UInt128 value = magnitude(d.coefficient_);
  const UInt128 limit = UInt128(1) << 63;
  for (int i = 0; i < d.exponent_; ++i) {
    if (value > limit) {
      return std::nullopt;
    }
    value *= 10;
  }
  if (d.coefficient_ < 0 ? value > limit : value >= limit) {
    return std::nullopt;
  }
  return static_cast<std::int64_t>(with_sign(value, d.coefficient_ < 0));
}

double Decimal::to_double() const {
  return static_cast<double>(coefficient_) * std::pow(10.0, static_cast<double>(exponent_));
}

std::string Decimal::to_string() const {
  std::string digits;
  UInt128 value = magnitude(coefficient_);
  do {
    digits.insert(digits.begin(), static_cast<char>('0' + static_cast<int>(value % 10)));
    value /= 10;
  } while (value != 0);
  if (exponent_ > 0 && coefficient_ != 0) {
    digits.append(static_cast<std::size_t>(exponent_), '0');
  } else if (exponent_ < 0) {
    const std::size_t scale = static_cast<std::size_t>(-exponent_);
    if (digits.size() <= scale) {
      digits.insert(0, scale + 1 - digits.size(), '0');
    }
    digits.insert(digits.size() - scale, 1, '.');
  }
  if (coefficient_ < 0) {
    digits.insert(0, 1, '-');
  }
  return digits;
}

std::optional<Decimal> Decimal::add(const Decimal& a, const Decimal& b) {
  const Decimal& fine = a.exponent_ <= b.exponent_ ? a : b;
  const Decimal& coarse = a.exponent_ <= b.exponent_ ? b : a;
  if (coarse.is_zero()) {
    return fine;
  }
  // The finest exponent at which the coarser operand still has 38 digits; one more when the sum
  // carries. What is finer is rounded away, but never a whole digit.
  const int room = kDigitsMax - digit_count(magnitude(coarse.coefficient_));
  const int finest = std::max(fine.exponent_, coarse.exponent_ - room);
  for (const int exponent : {finest, finest + 1}) {
    if (exponent > fine.exponent_ && exponent > 0 && !fine.is_zero()) {
      break;
    }
    const std::optional<Decimal> sum =
        add_aligned(exponent > coarse.exponent_ ? coarse.rounded(-exponent) : coarse,
                    exponent > fine.exponent_ ? fine.rounded(-exponent) : fine);
    if (sum) {
      return sum;
    }
  }
  return std::nullopt;
}

std::optional<Decimal> Decimal::multiply(const Decimal& a, const Decimal& b) {
  const bool negative = (a.coefficient_ < 0) != (b.coefficient_ < 0);
  Wide product = wide_product(magnitude(a.coefficient_), magnitude(b.coefficient_));
  int exponent = a.exponent_ + b.exponent_;
  unsigned last = 0;
  while (product.high != 0 || product.low > kCoefficientMax) {
    const int digits = surely_too_many(product);
    last = wide_drop(product, digits);
    exponent += digits;
  }
  UInt128 value = product.low;
  if (last >= 5) {
    if (value == kCoefficientMax) {
      value = power_of_ten(37);
      ++exponent;
    } else {
      ++value;
    }
  }
  if (exponent > kExponentMax || exponent < -kExponentMax) {
    return std::nullopt;
  }
  return Decimal(with_sign(value, negative), exponent);
}

std::optional<Decimal> Decimal::divide(const Decimal& a, const Decimal& b, int scale) {
  if (b.is_zero()) {
    return std::nullopt;
  }
  if (a.is_zero()) {
    return Decimal();
  }
  // Schoolbook long division, digit by digit, until `scale` digits after the point or 38 digits in
  // all.
  const bool negative = (a.coefficient_ < 0) != (b.coefficient_ < 0);
  const UInt128 divisor = magnitude(b.coefficient_);
  const UInt128 dividend = magnitude(a.coefficient_);
  UInt128 quotient = dividend / divisor;
  UInt128 rest = dividend % divisor;
  int exponent = a.exponent_ - b.exponent_;
  bool exact = rest == 0;
  while (!exact && exponent > -scale && quotient <= kCoefficientMax / 10) {
    // rest < divisor < 10^38; rest * 10 may pass 2^128, so it goes through the wide product.
    unsigned digit = 0;
    if (rest <= ~UInt128(0) / 10) {
      rest *= 10;
      digit = static_cast<unsigned>(rest / divisor);
      rest %= divisor;
    } else {
      Wide wide = wide_product(rest, 10);
      while (wide.high != 0 || wide.low >= divisor) {
        if (wide.low < divisor) {
          --wide.high;
        }
        wide.low -= divisor;
        ++digit;
      }
      rest = wide.low;
    }
    quotient = quotient * 10 + digit;
    --exponent;
    exact = rest == 0;
  }
  // Below `scale` already, one rounding is left to do, further down.
  if (!exact && exponent >= -scale && rest >= divisor - rest) {
    ++quotient;
  }
  if (quotient > kCoefficientMax || exponent > kExponentMax || exponent < -kExponentMax) {
    return std::nullopt;
  }
  Decimal result(with_sign(quotient, negative), exponent);
  if (exponent < -scale) {
    result = result.rounded(scale);
  }
  return result.without_trailing_zeros();
}

std::optional<Decimal> Decimal::integer_quotient(const Decimal& a, const Decimal& b) {
  if (b.is_zero()) {
    return std::nullopt;
  }
  const int shift = a.exponent_ - b.exponent_;
  const bool negative = (a.coefficient_ < 0) != (b.coefficient_ < 0);
  UInt128 x = magnitude(a.coefficient_);
  UInt128 y = magnitude(b.coefficient_);
  if (shift > 0) {
    if (shift > kDigitsMax || digit_count(x) + shift > kDigitsMax) {
      return std::nullopt;
    }
    x *= power_of_ten(shift);
  } else if (shift < 0) {
    if (-shift > kDigitsMax || digit_count(y) - shift > kDigitsMax) {
      return Decimal();
    }
    y *= power_of_ten(-shift);
  }
  return Decimal(with_sign(x / y, negative), 0);
}

std::optional<Decimal> Decimal::remainder(const Decimal& a, const Decimal& b) {
  const std::optional<Decimal> quotient = integer_quotient(a, b);
  if (!quotient) {
    return std::nullopt;
  }
  const std::optional<Decimal> whole = multiply(*quotient, b);
  return whole ? subtract(a, *whole) : std::nullopt;
}

Decimal Decimal::rounded(int scale) const {
  const int drop = -exponent_ - scale;
  if (drop <= 0) {
    return *this;
  }
  return {with_sign(shift_right(magnitude(coefficient_), drop), coefficient_ < 0), -scale};
}

Decimal Decimal::with_scale(int scale) const {
  Decimal d = rounded(scale);
  UInt128 value = magnitude(d.coefficient_);
  while (d.exponent_ > -scale && value <= kCoefficientMax / 10) {
    value *= 10;
    --d.exponent_;
  }
  return {with_sign(value, d.coefficient_ < 0), d.exponent_};
}

Decimal Decimal::truncated() const {
  if (exponent_ >= 0) {
    return *this;
  }
  if (-exponent_ > 38) {
    return {};
  }
  return {with_sign(magnitude(coefficient_) / power_of_ten(-exponent_), coefficient_ < 0), 0};
}

Decimal Decimal::floor() const {
  const Decimal whole = truncated();
  return coefficient_ < 0 && compare(whole, *this) != 0 ? Decimal(whole.coefficient_ - 1, 0)
                                                        : whole;
}

Decimal Decimal::ceiling() const {
  const Decimal whole = truncated();
  return coefficient_ > 0 && compare(whole, *this) != 0 ? Decimal(whole.coefficient_ + 1, 0)
                                                        : whole;
}

Decimal Decimal::without_trailing_zeros() const {
  if (coefficient_ == 0) {
    return {};
  }
  Decimal d = *this;
  while (d.exponent_ < 0 && d.coefficient_ % 10 == 0) {
    d.coefficient_ /= 10;
    ++d.exponent_;
  }
  return d;
}

int Decimal::compare(const Decimal& a, const Decimal& b) {
  const int sa = a.sign();
  const int sb = b.sign();
  if (sa != sb) {
    return sa < sb ? -1 : 1;
  }
  if (sa == 0) {
    return 0;
  }
  UInt128 x = magnitude(a.coefficient_);
  UInt128 y = magnitude(b.coefficient_);
  const int top_a = digit_count(x) + a.exponent_;
  const int top_b = digit_count(y) + b.exponent_;
  if (top_a != top_b) {
    return (top_a < top_b ? -1 : 1) * sa;
  }
  // The same leading digit position: bring both to the finer exponent, which fits 38 digits by the
  // line above.
  if (a.exponent_ > b.exponent_) {
    x *= power_of_ten(a.exponent_ - b.exponent_);
  } else {
    y *= power_of_ten(b.exponent_ - a.exponent_);
  }
  return x == y ? 0 : (x < y ? -1 : 1) * sa;
}

}  // namespace engine::base
