#include "engine/therapy/transcendental.h"

namespace engine::therapy {
namespace {

using base::Decimal;

constexpr int kWorkingScale = 26;
constexpr int kResultScale = 20;

Decimal times(const Decimal& a, const Decimal& b) {
  return Decimal::multiply(a, b).value_or(Decimal()).rounded(kWorkingScale);
}
Decimal over(const Decimal& a, const Decimal& b) {
  return Decimal::divide(a, b, kWorkingScale).value_or(Decimal());
}
Decimal plus(const Decimal& a, const Decimal& b) {
  return Decimal::add(a, b).value_or(Decimal());
}

const Decimal kOne = Decimal::from_int(1);
const Decimal kTwo = Decimal::from_int(2);
// ln 2 to 27 digits.
const Decimal kLnTwo(base::Int128{693'147'180'559'945'309} * 1'000'000'000 + 417'232'121, -27);

}  // namespace

std::optional<Decimal> natural_log(const Decimal& value) {
  if (value.sign() <= 0) {
    return std::nullopt;
  }
  // value = m * 2^k with m in [2/3, 4/3], so that the series below converges fast.
  Decimal m = value;
  int k = 0;
  const Decimal high(base::Int128{4}, 0);
  while (times(m, Decimal::from_int(3)) > high) {
    m = over(m, kTwo);
    ++k;
  }
  while (times(m, Decimal::from_int(3)) < kTwo) {
    m = times(m, kTwo);
    --k;
  }
  const Decimal z = over(plus(m, kOne.negated()), plus(m, kOne));
  const Decimal square = times(z, z);
  Decimal power = z;
  Decimal sum = z;
  constexpr int kTermsMax = 60;
  for (int n = 3; n < kTermsMax && !power.is_zero(); n += 2) {
    power = times(power, square);
    sum = plus(sum, over(power, Decimal::from_int(n)));
  }
  const Decimal whole = times(kLnTwo, Decimal::from_int(k));
  return plus(times(sum, kTwo), whole).rounded(kResultScale);
}

std::optional<Decimal> exponential(const Decimal& value) {
  if (value.abs() > Decimal::from_int(40)) {
    return std::nullopt;
  }
  constexpr int kHalvings = 7;
  Decimal x = value;
  for (int i = 0; i < kHalvings; ++i) {
    x = over(x, kTwo);
  }
  Decimal term = kOne;
  Decimal sum = kOne;
  constexpr int kTermsMax = 60;
  for (int n = 1; n < kTermsMax && !term.is_zero(); ++n) {
    term = over(times(term, x), Decimal::from_int(n));
    sum = plus(sum, term);
  }
  for (int i = 0; i < kHalvings; ++i) {
    sum = times(sum, sum);
  }
  return sum.rounded(kResultScale);
}

}  // namespace engine::therapy
