#include <array>
#include <bit>

#include "engine/ucum/arithmetic.h"

namespace engine::ucum {
namespace {

using base::Decimal;
using base::Int128;
using base::Result;
using base::UInt128;

template <unsigned kBase, std::size_t kCount>
constexpr std::array<UInt128, kCount> make_powers() {
  std::array<UInt128, kCount> powers{};
  UInt128 value = 1;
  for (std::size_t i = 0; i < kCount; ++i) {
    powers[i] = value;
    if (i + 1 < kCount) {
      value *= kBase;
    }
  }
  return powers;
}
// As many as 128 bits hold.
constexpr auto kPowersOfTwo = make_powers<2, 128>();
constexpr auto kPowersOfThree = make_powers<3, 81>();
constexpr auto kPowersOfFive = make_powers<5, 56>();
constexpr auto kPowersOfSeven = make_powers<7, 46>();
constexpr auto kPowersOfTen = make_powers<10, 39>();
constexpr UInt128 kCoefficientMax = kPowersOfTen[Decimal::kDigitsMax] - 1;

template <std::size_t kCount>
bool multiply_power(UInt128& value, const std::array<UInt128, kCount>& powers, int exponent) {
  if (exponent == 0) {
    return true;
  }
  const auto index = static_cast<std::size_t>(exponent);
  return index < kCount && !__builtin_mul_overflow(value, powers[index], &value);
}

UInt128 magnitude_of(Int128 value) {
  return value < 0 ? UInt128(0) - static_cast<UInt128>(value) : static_cast<UInt128>(value);
}

Decimal signed_decimal(UInt128 value, bool negative, int exponent) {
  return {negative ? -static_cast<Int128>(value) : static_cast<Int128>(value), exponent};
}

bool in_range(int exponent) {
  return exponent <= Decimal::kExponentMax && exponent >= -Decimal::kExponentMax;
}

// quotient + rest / divisor to kRoundedDigits digits, half away from zero; the digits that are made
// move the exponent down. rest < divisor. False when it does not fit the 64-bit steps.
bool round_quotient(UInt128& quotient, UInt128 rest, UInt128 divisor, int& exponent) {
  if ((divisor >> 64) != 0 || quotient >= kPowersOfTen[kRoundedDigits]) {
    return false;
  }
  int digits = quotient == 0 ? 0 : digit_count(quotient);
  while (digits < kRoundedDigits) {
    // rest < divisor < 2^64 and 10^18 < 2^60, so the product fits.
    const int step = quotient == 0 ? 18 : std::min(18, kRoundedDigits - digits);
    const UInt128 scaled = rest * kPowersOfTen[static_cast<std::size_t>(step)];
    const UInt128 made = scaled / divisor;
    rest = scaled % divisor;
    quotient = quotient * kPowersOfTen[static_cast<std::size_t>(step)] + made;
    exponent -= step;
    digits = quotient == 0 ? 0 : digit_count(quotient);
  }
  if (rest >= divisor - rest) {
    ++quotient;
  }
  return true;
}

}  // namespace

int digit_count(UInt128 value) {
  if (value == 0) {
    return 1;
  }
  const auto high = static_cast<std::uint64_t>(value >> 64);
  const int bits = high != 0 ? 128 - std::countl_zero(high)
                             : 64 - std::countl_zero(static_cast<std::uint64_t>(value));
  // bits x log10(2), low by at most one.
  const auto digits = static_cast<std::size_t>((bits * 1233) >> 12);
  return static_cast<int>(digits) +
         (digits >= kPowersOfTen.size() || value >= kPowersOfTen[digits] ? 1 : 0);
}

Decimal trimmed(const Decimal& value, int digits) {
  if (value.exponent() >= 0) {
    return value;
  }
  UInt128 coefficient = magnitude_of(value.coefficient());
  int exponent = value.exponent();
  int have = -1;
  while (exponent < 0 && coefficient != 0) {
    if ((coefficient >> 64) == 0) {
      const auto narrow = static_cast<std::uint64_t>(coefficient);
      if (narrow % 10 != 0) {
        break;
      }
    } else if (coefficient % 10 != 0) {
      break;
    }
    if (have < 0) {
      have = digit_count(coefficient);
    }
    if (have <= digits) {
      break;
    }
    coefficient /= 10;
    ++exponent;
    --have;
  }
  return signed_decimal(coefficient, value.sign() < 0, exponent);
}

bool Arithmetic::scale_narrow(const Decimal& value, const Magnitude& ratio, Decimal& out,
                              bool& exact) {
  if (ratio.big_ != nullptr || ratio.pi_exponent_ != 0) {
    return false;
  }
  if (value.is_zero()) {
    out = value;
    exact = true;
    return true;
  }
  const UInt128 coefficient = magnitude_of(value.coefficient());
  UInt128 top = coefficient;
  if (ratio.numerator_ != 1 && __builtin_mul_overflow(top, ratio.numerator_, &top)) {
    return false;
  }
  // 2^a x 5^c is a power of ten times the surplus of one of the two: never a division.
  const int twos = ratio.exponents_[Magnitude::kTwo];
  const int fives = ratio.exponents_[Magnitude::kFive];
  int exponent = value.exponent() + std::min(twos, fives);
  const bool fits = twos >= fives ? multiply_power(top, kPowersOfTwo, twos - fives)
                                  : multiply_power(top, kPowersOfFive, fives - twos);
  if (!fits) {
    return false;
  }
  UInt128 bottom = ratio.denominator_;
  const int threes = ratio.exponents_[Magnitude::kThree];
  const int sevens = ratio.exponents_[Magnitude::kSeven];
  if (!(threes >= 0 ? multiply_power(top, kPowersOfThree, threes)
                    : multiply_power(bottom, kPowersOfThree, -threes)) ||
      !(sevens >= 0 ? multiply_power(top, kPowersOfSeven, sevens)
                    : multiply_power(bottom, kPowersOfSeven, -sevens))) {
    return false;
  }
  exact = true;
  if (bottom != 1) {
    const bool narrow = ((top | bottom) >> 64) == 0;
    const UInt128 quotient =
        narrow ? static_cast<std::uint64_t>(top) / static_cast<std::uint64_t>(bottom)
               : top / bottom;
    const UInt128 rest = top - quotient * bottom;
    top = quotient;
    if (rest != 0) {
      // What is left of the divisor has neither 2 nor 5 in it: the digits never end.
      exact = false;
      if (!round_quotient(top, rest, bottom, exponent)) {
        return false;
      }
    }
  }
  if (top > kCoefficientMax || !in_range(exponent)) {
    return false;
  }
  out = trimmed(signed_decimal(top, value.sign() < 0, exponent), digit_count(coefficient));
  return true;
}

mpq_class Arithmetic::rational(const Magnitude& magnitude) {
  mpq_class out = magnitude.big_ != nullptr ? magnitude.big_->value
                                            : mpq_class(to_integer(magnitude.numerator_),
                                                        to_integer(magnitude.denominator_));
  static constexpr std::array<unsigned long, Magnitude::kPrimes> kPrimeValues = {2, 3, 5, 7};
  for (std::size_t i = 0; i < Magnitude::kPrimes; ++i) {
    const std::int32_t exponent = magnitude.exponents_[i];
    if (exponent > 0) {
      out *= power(kPrimeValues[i], static_cast<unsigned long>(exponent));
    } else if (exponent < 0) {
      out /= power(kPrimeValues[i], static_cast<unsigned long>(-exponent));
    }
  }
  return out;
}

mpq_class Arithmetic::rational(const Decimal& value) {
  mpq_class out(to_integer(magnitude_of(value.coefficient())));
  if (value.sign() < 0) {
    out = -out;
  }
  if (value.exponent() > 0) {
    out *= power(10, static_cast<unsigned long>(value.exponent()));
  } else if (value.exponent() < 0) {
    out /= power(10, static_cast<unsigned long>(-value.exponent()));
  }
  return out;
}

Result<Decimal> Arithmetic::scale(const Decimal& value, const Magnitude& ratio) {
  Decimal out;
  bool exact = false;
  if (scale_narrow(value, ratio, out, exact)) {
    return out;
  }
  const mpq_class rational_part = rational(value) * rational(ratio);
  if (ratio.pi_exponent_ != 0) {
    const std::optional<Decimal> real = scale_with_pi(rational_part, ratio.pi_exponent_);
    if (!real) {
      return out_of_range();
    }
    return *real;
  }
  return to_decimal(rational_part, digit_count(magnitude_of(value.coefficient())));
}

Result<Decimal> Arithmetic::to_decimal(const mpq_class& value, int digits_hint) {
  if (value == 0) {
    return Decimal();
  }
  const bool negative = value < 0;
  mpz_class top = abs(value.get_num());
  mpz_class bottom = value.get_den();
  const auto narrow = [](const mpz_class& wide) {
    const mpz_class high = wide >> 64;
    const mpz_class low = wide - (high << 64);
    return (UInt128(high.get_ui()) << 64) | low.get_ui();
  };
  // A denominator of twos and fives only: the digits end.
  const mp_bitcnt_t twos = mpz_scan1(bottom.get_mpz_t(), 0);
  mpz_class odd = bottom >> twos;
  const mpz_class five = 5;
  const mp_bitcnt_t fives = mpz_remove(odd.get_mpz_t(), odd.get_mpz_t(), five.get_mpz_t());
  if (odd == 1) {
    const mp_bitcnt_t places = std::max(twos, fives);
    mpz_class coefficient = top * power(2, places - twos) * power(5, places - fives);
    int exponent = -static_cast<int>(places);
    const mpz_class ten = 10;
    while (mpz_sizeinbase(coefficient.get_mpz_t(), 10) > Decimal::kDigitsMax &&
           mpz_divisible_ui_p(coefficient.get_mpz_t(), 10) != 0) {
      coefficient /= ten;
      ++exponent;
    }
    if (coefficient < mpz_class(1) << 127 && narrow(coefficient) <= kCoefficientMax) {
      if (!in_range(exponent)) {
        return out_of_range();
      }
      return trimmed(signed_decimal(narrow(coefficient), negative, exponent), digits_hint);
    }
  }
  // Scale so that the quotient has kRoundedDigits digits or up to two more, then round once on the
  // exact rest.
  const auto top_digits = static_cast<long>(mpz_sizeinbase(top.get_mpz_t(), 10));
  const auto bottom_digits = static_cast<long>(mpz_sizeinbase(bottom.get_mpz_t(), 10));
  const long shift = kRoundedDigits + 1 - (top_digits - bottom_digits);
  if (shift > 0) {
    top *= power(10, static_cast<unsigned long>(shift));
  } else {
    bottom *= power(10, static_cast<unsigned long>(-shift));
  }
  mpz_class quotient = top / bottom;
  const int surplus = digit_count(narrow(quotient)) - kRoundedDigits;
  bottom *= power(10, static_cast<unsigned long>(std::max(surplus, 0)));
  quotient = top / bottom;
  const mpz_class rest = top - quotient * bottom;
  if (rest * 2 >= bottom) {
    ++quotient;
  }
  const long exponent = -shift + std::max(surplus, 0);
  const Decimal out = signed_decimal(narrow(quotient), negative, static_cast<int>(exponent));
  const Decimal tidy = trimmed(out, digits_hint);
  if (!in_range(tidy.exponent())) {
    return out_of_range();
  }
  return tidy;
}

}  // namespace engine::ucum
