#include "engine/ucum/magnitude.h"

#include <cstdlib>
#include <utility>

#include "engine/base/limits.h"
#include "engine/ucum/big_rational.h"

namespace engine::ucum {
namespace {

using base::UInt128;
namespace limits = base::limits;

UInt128 gcd(UInt128 a, UInt128 b) {
  while (b != 0) {
    const UInt128 rest = a % b;
    a = b;
    b = rest;
  }
  return a;
}

std::int32_t strip(UInt128& number, unsigned prime) {
  std::int32_t times = 0;
  while (number % prime == 0) {
    number /= prime;
    ++times;
  }
  return times;
}

// An unsigned decimal with an optional point and exponent as coefficient x 10^exponent.
bool parse_decimal(std::string_view text, Magnitude& out) {
  if (text.empty() || text.front() < '0' || text.front() > '9') {
    return false;
  }
  const base::Result<base::Decimal> number = base::Decimal::parse(text);
  if (!number || number->sign() <= 0) {
    return false;
  }
  out = Magnitude::from_integer(static_cast<UInt128>(number->coefficient()));
  out.scale_by_ten(number->exponent());
  return true;
}

}  // namespace

mpz_class to_integer(UInt128 value) {
  mpz_class out = static_cast<unsigned long>(value >> 64);
  out <<= 64;
  out += static_cast<unsigned long>(value & ~std::uint64_t{0});
  return out;
}

mpz_class power(unsigned long base, unsigned long exponent) {
  mpz_class out;
  mpz_ui_pow_ui(out.get_mpz_t(), base, exponent);
  return out;
}

Magnitude Magnitude::from_integer(UInt128 value) {
  Magnitude out;
  out.exponents_[kTwo] = strip(value, 2);
  out.exponents_[kThree] = strip(value, 3);
  out.exponents_[kFive] = strip(value, 5);
  out.exponents_[kSeven] = strip(value, 7);
  out.numerator_ = value;
  return out;
}

Magnitude Magnitude::pi() {
  Magnitude out;
  out.pi_exponent_ = 1;
  return out;
}

bool Magnitude::parse(std::string_view text, Magnitude& out) {
  const std::size_t slash = text.find('/');
  if (!parse_decimal(text.substr(0, slash), out)) {
    return false;
  }
  if (slash == std::string_view::npos) {
    return true;
  }
  Magnitude divisor;
  return parse_decimal(text.substr(slash + 1), divisor) && out.divide(divisor);
}

bool Magnitude::multiply(const Magnitude& other) {
  return combine(other, false);
}
bool Magnitude::divide(const Magnitude& other) {
  return combine(other, true);
}

bool Magnitude::combine(const Magnitude& other, bool inverse) {
  const int sign = inverse ? -1 : 1;
  for (std::size_t i = 0; i < kPrimes; ++i) {
    exponents_[i] += sign * other.exponents_[i];
  }
  pi_exponent_ += sign * other.pi_exponent_;
  if (!within_limits()) {
    return false;
  }
  if (big_ != nullptr || other.big_ != nullptr) {
    return combine_big(other, inverse);
  }
  UInt128 up = inverse ? other.denominator_ : other.numerator_;
  UInt128 down = inverse ? other.numerator_ : other.denominator_;
  if (up == 1 && down == 1) {
    return true;
  }
  // Both factors are in lowest terms, so only the crossing pairs can share a divisor.
  UInt128 numerator = numerator_;
  UInt128 denominator = denominator_;
  if (numerator != 1 && down != 1) {
    const UInt128 shared = numerator == down ? down : gcd(numerator, down);
    numerator /= shared;
    down /= shared;
  }
  if (denominator != 1 && up != 1) {
    const UInt128 shared = denominator == up ? up : gcd(denominator, up);
    denominator /= shared;
    up /= shared;
  }
  if (__builtin_mul_overflow(numerator, up, &numerator) ||
      __builtin_mul_overflow(denominator, down, &denominator)) {
    return combine_big(other, inverse);
  }
  numerator_ = numerator;
  denominator_ = denominator;
  return true;
}

bool Magnitude::combine_big(const Magnitude& other, bool inverse) {
  const auto rational = [](const Magnitude& from) {
    return from.big_ != nullptr
               ? from.big_->value
               : mpq_class(to_integer(from.numerator_), to_integer(from.denominator_));
  };
  mpq_class value = rational(*this);
  if (inverse) {
    value /= rational(other);
  } else {
    value *= rational(other);
  }
  const std::size_t up_bits = mpz_sizeinbase(value.get_num_mpz_t(), 2);
  const std::size_t down_bits = mpz_sizeinbase(value.get_den_mpz_t(), 2);
  if (up_bits + down_bits > limits::kUnitMagnitudeBitsMax) {
    return false;
  }
  const auto narrow = [](const mpz_class& wide) {
    const mpz_class high = wide >> 64;
    const mpz_class low = wide - (high << 64);
    return (UInt128(high.get_ui()) << 64) | low.get_ui();
  };
  if (up_bits <= 128 && down_bits <= 128) {
    numerator_ = narrow(value.get_num());
    denominator_ = narrow(value.get_den());
    big_.reset();
    return true;
  }
  numerator_ = 1;
  denominator_ = 1;
  big_ = std::make_shared<const BigRational>(BigRational{std::move(value)});
  return true;
}

bool Magnitude::raise(int exponent) {
  Magnitude rest;
  std::swap(rest.numerator_, numerator_);
  std::swap(rest.denominator_, denominator_);
  std::swap(rest.big_, big_);
  for (std::int32_t& prime_exponent : exponents_) {
    prime_exponent *= exponent;
  }
  pi_exponent_ *= exponent;
  if (!within_limits()) {
    return false;
  }
  if (rest == Magnitude()) {
    return true;
  }
  Magnitude raised;
  for (int left = std::abs(exponent); left != 0; left >>= 1) {
    if ((left & 1) != 0 && !raised.combine(rest, false)) {
      return false;
    }
    if (left > 1) {
      const Magnitude once = rest;
      if (!rest.combine(once, false)) {
        return false;
      }
    }
  }
  return combine(raised, exponent < 0);
}

bool Magnitude::within_limits() const {
  for (const std::int32_t exponent : exponents_) {
    if (std::abs(exponent) > limits::kUnitExponentMax) {
      return false;
    }
  }
  return std::abs(pi_exponent_) <= limits::kUnitExponentMax;
}

bool operator==(const Magnitude& a, const Magnitude& b) {
  if (a.exponents_ != b.exponents_ || a.pi_exponent_ != b.pi_exponent_ ||
      a.numerator_ != b.numerator_ || a.denominator_ != b.denominator_) {
    return false;
  }
  if (a.big_ == nullptr || b.big_ == nullptr) {
    return a.big_ == b.big_;
  }
  return a.big_->value == b.big_->value;
}

}  // namespace engine::ucum
