// Scales that bend by a logarithm, a tangent or a root, computed by MPFR with far more digits than
// are kept.

#include <algorithm>
#include <cstdlib>
#include <string>

#include <mpfr.h>

#include "engine/ucum/arithmetic.h"

namespace engine::ucum {
namespace {

using base::Decimal;

constexpr mpfr_prec_t kPrecisionBits = 320;  // some 96 digits, of which 34 are kept

class Real {
 public:
  Real() { mpfr_init2(value_, kPrecisionBits); }
  explicit Real(long value) : Real() { mpfr_set_si(value_, value, MPFR_RNDN); }
  explicit Real(const mpq_class& value) : Real() {
    mpfr_set_q(value_, value.get_mpq_t(), MPFR_RNDN);
  }
  Real(const Real&) = delete;
  Real& operator=(const Real&) = delete;
  ~Real() { mpfr_clear(value_); }
  mpfr_ptr get() { return value_; }
  mpfr_srcptr get() const { return value_; }

  // 34 significant digits; nullopt when not finite or outside what a Decimal holds.
  std::optional<Decimal> to_decimal() const {
    if (mpfr_number_p(value_) == 0) {
      return std::nullopt;
    }
    if (mpfr_zero_p(value_) != 0) {
      return Decimal();
    }
    mpfr_exp_t exponent = 0;
    char* const text = mpfr_get_str(nullptr, &exponent, 10, kRoundedDigits, value_, MPFR_RNDN);
    const std::string digits(text);
    mpfr_free_str(text);
    const bool negative = digits.front() == '-';
    base::Int128 coefficient = 0;
    for (const char digit : digits.substr(negative ? 1 : 0)) {
      coefficient = coefficient * 10 + (digit - '0');
    }
    const mpfr_exp_t last = exponent - kRoundedDigits;
    if (std::abs(last) > Decimal::kExponentMax) {
      return std::nullopt;
    }
    return Decimal(negative ? -coefficient : coefficient, static_cast<int>(last))
        .without_trailing_zeros();
  }

 private:
  mpfr_t value_;
};

// log of the base in which a logarithmic scale counts, with the scale's own factor: shown = factor
// x ln(proper). pH: -1 / ln 10.
void log_factor(Scale scale, Real& out) {
  const auto over_log = [&out](long times, unsigned long log_base) {
    Real log;
    mpfr_log_ui(log.get(), log_base, MPFR_RNDN);
    mpfr_si_div(out.get(), times, log.get(), MPFR_RNDN);
  };
  switch (scale) {
    case Scale::kMinusLg:
      return over_log(-1, 10);
    case Scale::kLg:
      return over_log(1, 10);
    case Scale::kTwoLg:
      return over_log(2, 10);
    case Scale::kLd:
      return over_log(1, 2);
    case Scale::kMinusLgHundred:
      return over_log(-1, 100);
    case Scale::kMinusLgThousand:
      return over_log(-1, 1000);
    case Scale::kMinusLgFiftyThousand:
      return over_log(-1, 50'000);
    default:
      mpfr_set_ui(out.get(), 1, MPFR_RNDN);  // kLn
  }
}

// In place: the value shown (its prefix taken off) -> the value in reference units.
void to_proper(Scale scale, Real& value) {
  switch (scale) {
    case Scale::kRatio:
      return;
    case Scale::kCelsius:
    case Scale::kFahrenheit:
    case Scale::kReaumur: {
      const Real offset(Arithmetic::rational(offset_of(scale)));
      mpfr_add(value.get(), value.get(), offset.get(), MPFR_RNDN);
      return;
    }
    case Scale::kHundredTan:
      mpfr_div_ui(value.get(), value.get(), 100, MPFR_RNDN);
      mpfr_atan(value.get(), value.get(), MPFR_RNDN);
      return;
    case Scale::kSquareRoot:
      mpfr_sqr(value.get(), value.get(), MPFR_RNDN);
      return;
    default: {
      Real factor;
      log_factor(scale, factor);
      mpfr_div(value.get(), value.get(), factor.get(), MPFR_RNDN);
      mpfr_exp(value.get(), value.get(), MPFR_RNDN);
    }
  }
}

// In place, the other way. The logarithm or root of a negative number leaves a NaN, of zero an
// infinity.
void from_proper(Scale scale, Real& value) {
  switch (scale) {
    case Scale::kRatio:
      return;
    case Scale::kCelsius:
    case Scale::kFahrenheit:
    case Scale::kReaumur: {
      const Real offset(Arithmetic::rational(offset_of(scale)));
      mpfr_sub(value.get(), value.get(), offset.get(), MPFR_RNDN);
      return;
    }
    case Scale::kHundredTan:
      mpfr_tan(value.get(), value.get(), MPFR_RNDN);
      mpfr_mul_ui(value.get(), value.get(), 100, MPFR_RNDN);
      return;
    case Scale::kSquareRoot:
      mpfr_sqrt(value.get(), value.get(), MPFR_RNDN);
      return;
    default: {
      Real factor;
      log_factor(scale, factor);
      mpfr_log(value.get(), value.get(), MPFR_RNDN);
      mpfr_mul(value.get(), value.get(), factor.get(), MPFR_RNDN);
    }
  }
}

// value x rational x pi^p
void multiply(Real& value, const mpq_class& rational, int pi_exponent) {
  mpfr_mul_q(value.get(), value.get(), rational.get_mpq_t(), MPFR_RNDN);
  if (pi_exponent != 0) {
    Real pi;
    mpfr_const_pi(pi.get(), MPFR_RNDN);
    mpfr_pow_si(pi.get(), pi.get(), pi_exponent, MPFR_RNDN);
    mpfr_mul(value.get(), value.get(), pi.get(), MPFR_RNDN);
  }
}

// A square root or an arc of a negative value shown would come back with another sign.
bool has_value(Scale scale, const Decimal& shown) {
  return scale != Scale::kSquareRoot || shown.sign() >= 0;
}

void set_base(Real& real, const Decimal& value, const Unit& unit) {
  const mpq_class shown = Arithmetic::rational(value);
  mpfr_set_q(real.get(), shown.get_mpq_t(), MPFR_RNDN);
  if (unit.is_special()) {
    multiply(real, Arithmetic::rational(Arithmetic::prefix_of(unit)), 0);
    to_proper(unit.scale(), real);
  }
  multiply(real, Arithmetic::rational(unit.magnitude()), unit.magnitude().pi_exponent());
}

}  // namespace

bool is_affine(Scale scale) {
  return scale == Scale::kCelsius || scale == Scale::kFahrenheit || scale == Scale::kReaumur;
}

Decimal offset_of(Scale scale) {
  switch (scale) {
    case Scale::kCelsius:
      return {27'315, -2};
    case Scale::kFahrenheit:
      return {45'967, -2};
    case Scale::kReaumur:
      return {21'852, -2};
    default:
      return {};
  }
}

std::optional<Decimal> to_base(const Decimal& value, const Unit& unit) {
  if (!has_value(unit.scale(), value)) {
    return std::nullopt;
  }
  Real real;
  set_base(real, value, unit);
  return real.to_decimal();
}

std::optional<Decimal> convert_real(const Decimal& value, const Unit& from, const Unit& to) {
  if (!has_value(from.scale(), value)) {
    return std::nullopt;
  }
  Real real;
  set_base(real, value, from);
  const mpq_class back = 1 / Arithmetic::rational(to.magnitude());
  multiply(real, back, -to.magnitude().pi_exponent());
  if (to.is_special()) {
    from_proper(to.scale(), real);
    const mpq_class prefix = 1 / Arithmetic::rational(Arithmetic::prefix_of(to));
    multiply(real, prefix, 0);
  }
  return real.to_decimal();
}

std::optional<Decimal> scale_with_pi(const mpq_class& value, int pi_exponent) {
  Real real(value);
  multiply(real, 1, pi_exponent);
  return real.to_decimal();
}

}  // namespace engine::ucum
