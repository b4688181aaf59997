#pragma once
// The size of a unit: an exact positive rational number times a power of pi.
// Kept as (numerator / denominator) x 2^a x 3^b x 5^c x 7^d x pi^p, numerator and denominator free
// of those primes, so that prefixes, minutes, inches and degrees are exponents only and there is
// rarely anything to divide. What does not fit 128 bits moves to a big rational number, up to
// limits::kUnitMagnitudeBitsMax. Value type; may be read from many threads.

#include <array>
#include <cstdint>
#include <memory>
#include <string_view>

#include "engine/base/decimal.h"

namespace engine::ucum {

struct BigRational;

class Magnitude {
 public:
  Magnitude() = default;  // one

  // False when the text is no positive number: digits with an optional point and exponent, at most
  // 38 of them, or a quotient of two such.
  static bool parse(std::string_view text, Magnitude& out);
  static Magnitude pi();
  static Magnitude from_integer(base::UInt128 value);  // value > 0

  // False when the result would pass the limits; the value is then unspecified.
  bool multiply(const Magnitude& other);
  bool divide(const Magnitude& other);
  bool raise(int exponent);
  void scale_by_ten(int exponent) {
    exponents_[kTwo] += exponent;
    exponents_[kFive] += exponent;
  }
  void scale_by_two(int exponent) { exponents_[kTwo] += exponent; }

  int pi_exponent() const { return pi_exponent_; }
  friend bool operator==(const Magnitude& a, const Magnitude& b);

 private:
  friend struct Arithmetic;
  enum Prime : std::uint8_t { kTwo, kThree, kFive, kSeven, kPrimes };

  bool combine(const Magnitude& other, bool inverse);
  bool combine_big(const Magnitude& other, bool inverse);
  bool within_limits() const;

  base::UInt128 numerator_ = 1;
  base::UInt128 denominator_ = 1;
  std::array<std::int32_t, kPrimes> exponents_{};
  std::int32_t pi_exponent_ = 0;
  std::shared_ptr<const BigRational> big_;  // when set, numerator and denominator are one
};

}  // namespace engine::ucum
