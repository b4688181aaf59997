#include <algorithm>

#include "engine/ucum/arithmetic.h"

namespace engine::ucum {
namespace {

using base::Decimal;
using base::Error;
using base::ErrorCode;
using base::Result;

Error cannot_compare() {
  return {ErrorCode::kUnitMismatch, "the units measure different things"};
}

Error special_in_product() {
  return {ErrorCode::kUnitMismatch,
          "a unit with a scale of its own (such as Cel or [pH]) cannot be multiplied or divided"};
}

Decimal trimmed_to_scale(const Decimal& value, int scale) {
  Decimal out = value;
  while (out.scale() > scale && out.coefficient() % 10 == 0) {
    out = Decimal(out.coefficient() / 10, out.exponent() + 1);
  }
  return out;
}

// ((value x prefix + offset) x reference ratio - offset') / prefix', all rational.
Result<Decimal> convert_affine(const Decimal& value, const Unit& from, const Unit& to) {
  Magnitude ratio = from.magnitude();
  if (!ratio.divide(to.magnitude())) {
    return out_of_range();
  }
  Magnitude back;
  if (!back.divide(Arithmetic::prefix_of(to))) {
    return out_of_range();
  }
  const Decimal up = offset_of(from.scale());
  const Decimal down = offset_of(to.scale());
  Decimal step;
  bool exact = true;
  if (Arithmetic::scale_narrow(value, Arithmetic::prefix_of(from), step, exact) && exact) {
    const std::optional<Decimal> proper = Decimal::add(step, up);
    if (proper && Arithmetic::scale_narrow(*proper, ratio, step, exact) && exact) {
      const std::optional<Decimal> shown = Decimal::subtract(step, down);
      if (shown && Arithmetic::scale_narrow(*shown, back, step, exact) && exact) {
        return trimmed_to_scale(step, value.scale());
      }
    }
  }
  if (ratio.pi_exponent() != 0) {
    return Error{ErrorCode::kUnsupported, "a temperature in a unit built on pi"};
  }
  mpq_class exactly =
      Arithmetic::rational(value) * Arithmetic::rational(Arithmetic::prefix_of(from));
  exactly = (exactly + Arithmetic::rational(up)) * Arithmetic::rational(ratio);
  exactly = (exactly - Arithmetic::rational(down)) * Arithmetic::rational(back);
  const Result<Decimal> shown = Arithmetic::to_decimal(exactly, 1);
  if (!shown) {
    return shown;
  }
  return trimmed_to_scale(*shown, value.scale());
}

// The exact value in base units, pi left out. Only for ratio and affine units.
mpq_class exact_base(const Quantity& quantity) {
  mpq_class out = Arithmetic::rational(quantity.value);
  if (quantity.unit.is_special()) {
    out *= Arithmetic::rational(Arithmetic::prefix_of(quantity.unit));
    out += Arithmetic::rational(offset_of(quantity.unit.scale()));
  }
  return out * Arithmetic::rational(quantity.unit.magnitude());
}

std::strong_ordering order(int sign) {
  if (sign == 0) {
    return std::strong_ordering::equal;
  }
  return sign < 0 ? std::strong_ordering::less : std::strong_ordering::greater;
}

bool has_plain_scale(const Unit& unit) {
  return !unit.is_special() || is_affine(unit.scale());
}

// The magnitude of a number other than zero, as a factor.
Magnitude factor_of(const Decimal& value) {
  const base::Int128 coefficient = value.coefficient();
  Magnitude out = Magnitude::from_integer(
      static_cast<base::UInt128>(coefficient < 0 ? -coefficient : coefficient));
  out.scale_by_ten(value.exponent());
  return out;
}

Result<Quantity> product(const Quantity& a, const Quantity& b, bool inverse) {
  if (a.unit.is_special() || b.unit.is_special()) {
    return special_in_product();
  }
  Unit unit = a.unit;
  if (!Arithmetic::multiply(unit, b.unit, inverse)) {
    return out_of_range();
  }
  const Unit base = Arithmetic::without_magnitude(unit);
  if (b.value.is_zero()) {
    return Quantity{Decimal(), base};
  }
  Magnitude ratio = unit.magnitude();
  const Magnitude factor = factor_of(b.value);
  if (inverse ? !ratio.divide(factor) : !ratio.multiply(factor)) {
    return out_of_range();
  }
  const Decimal signed_value = b.value.sign() < 0 ? a.value.negated() : a.value;
  Result<Decimal> value = Arithmetic::scale(signed_value, ratio);
  if (!value) {
    return std::move(value).error();
  }
  return Quantity{*value, base};
}

}  // namespace

base::Error out_of_range() {
  return {ErrorCode::kOutOfRange, "the result is beyond what a decimal number here can hold"};
}

Result<Decimal> convert(const Decimal& value, const Unit& from, const Unit& to) {
  if (!comparable(from, to)) {
    return cannot_compare();
  }
  if (from.scale() == to.scale() && (!from.is_special() || from.magnitude() == to.magnitude())) {
    // On one scale only the sizes differ: of the units, or of their prefixes.
    Magnitude ratio = from.is_special() ? Arithmetic::prefix_of(from) : from.magnitude();
    if (!ratio.divide(to.is_special() ? Arithmetic::prefix_of(to) : to.magnitude())) {
      return out_of_range();
    }
    return Arithmetic::scale(value, ratio);
  }
  if (has_plain_scale(from) && has_plain_scale(to)) {
    return convert_affine(value, from, to);
  }
  const std::optional<Decimal> real = convert_real(value, from, to);
  if (!real) {
    return Error{ErrorCode::kOutOfRange, "the scale has no such value"};
  }
  return *real;
}

Result<std::strong_ordering> compare(const Quantity& a, const Quantity& b) {
  if (!comparable(a.unit, b.unit)) {
    return cannot_compare();
  }
  if (same_meaning(a.unit, b.unit) && has_plain_scale(a.unit)) {
    return order(Decimal::compare(a.value, b.value));
  }
  if (has_plain_scale(a.unit) && has_plain_scale(b.unit) &&
      a.unit.magnitude().pi_exponent() == b.unit.magnitude().pi_exponent()) {
    Magnitude ratio = a.unit.magnitude();
    Decimal scaled;
    bool exact = false;
    if (!a.unit.is_special() && !b.unit.is_special() && ratio.divide(b.unit.magnitude()) &&
        Arithmetic::scale_narrow(a.value, ratio, scaled, exact) && exact) {
      return order(Decimal::compare(scaled, b.value));
    }
    return order(cmp(exact_base(a), exact_base(b)));
  }
  const std::optional<Decimal> left = to_base(a.value, a.unit);
  const std::optional<Decimal> right = to_base(b.value, b.unit);
  if (!left || !right) {
    return out_of_range();
  }
  return order(Decimal::compare(*left, *right));
}

Result<std::strong_ordering> compare_size(const Unit& a, const Unit& b) {
  if (!comparable(a, b)) {
    return cannot_compare();
  }
  if (a.is_special() || b.is_special()) {
    return special_in_product();
  }
  const Decimal one = Decimal::from_int(1);
  return compare(Quantity{one, a}, Quantity{one, b});
}

Result<Quantity> multiply(const Quantity& a, const Quantity& b) {
  return product(a, b, false);
}

Result<Quantity> divide(const Quantity& a, const Quantity& b) {
  if (b.value.is_zero()) {
    return Error{ErrorCode::kInvalid, "division by zero"};
  }
  return product(a, b, true);
}

Result<Quantity> canonical(const Quantity& quantity) {
  const Unit base = Arithmetic::without_magnitude(quantity.unit);
  Result<Decimal> value = convert(quantity.value, quantity.unit, base);
  if (!value) {
    return std::move(value).error();
  }
  return Quantity{*value, base};
}

}  // namespace engine::ucum
