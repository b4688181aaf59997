#include <cstdlib>

#include "engine/base/limits.h"
#include "engine/ucum/arithmetic.h"

namespace engine::ucum {
namespace {

bool add_exponent(std::int16_t& to, int by) {
  const int sum = to + by;
  if (std::abs(sum) > base::limits::kUnitExponentMax) {
    return false;
  }
  to = static_cast<std::int16_t>(sum);
  return true;
}

}  // namespace

Unit Arithmetic::base_unit(std::size_t index) {
  Unit unit;
  unit.dimension_[index] = 1;
  return unit;
}

Unit Arithmetic::arbitrary_unit(std::uint16_t atom) {
  Unit unit;
  unit.arbitrary_[0] = {atom, 1};
  return unit;
}

Unit Arithmetic::ten() {
  Unit unit;
  unit.magnitude_.scale_by_ten(1);
  return unit;
}

Unit Arithmetic::pi() {
  Unit unit;
  unit.magnitude_ = Magnitude::pi();
  return unit;
}

bool Arithmetic::apply_factor(Unit& unit, const Magnitude& factor) {
  return unit.magnitude_.multiply(factor);
}

Unit Arithmetic::without_magnitude(const Unit& unit) {
  Unit out;
  out.dimension_ = unit.dimension_;
  out.arbitrary_ = unit.arbitrary_;
  return out;
}

void Arithmetic::apply_prefix(Unit& unit, const PrefixFact& prefix) {
  if (unit.is_special()) {
    std::int16_t& count = prefix.base == 10 ? unit.prefix_ten_ : unit.prefix_two_;
    count = static_cast<std::int16_t>(count + prefix.exponent);
  } else if (prefix.base == 10) {
    unit.magnitude_.scale_by_ten(prefix.exponent);
  } else {
    unit.magnitude_.scale_by_two(prefix.exponent);
  }
}

Magnitude Arithmetic::prefix_of(const Unit& special) {
  Magnitude out;
  out.scale_by_ten(special.prefix_ten_);
  out.scale_by_two(special.prefix_two_);
  return out;
}

bool Arithmetic::multiply(Unit& left, const Unit& right, bool inverse) {
  const int sign = inverse ? -1 : 1;
  for (std::size_t i = 0; i < kBaseUnits; ++i) {
    if (!add_exponent(left.dimension_[i], sign * right.dimension_[i])) {
      return false;
    }
  }
  for (const ArbitraryPower& power : right.arbitrary_) {
    if (power.exponent == 0) {
      break;
    }
    std::size_t at = 0;
    while (at < Unit::kArbitraryMax && left.arbitrary_[at].exponent != 0 &&
           left.arbitrary_[at].atom < power.atom) {
      ++at;
    }
    if (at < Unit::kArbitraryMax && left.arbitrary_[at].exponent != 0 &&
        left.arbitrary_[at].atom == power.atom) {
      if (!add_exponent(left.arbitrary_[at].exponent, sign * power.exponent)) {
        return false;
      }
      if (left.arbitrary_[at].exponent == 0) {
        for (; at + 1 < Unit::kArbitraryMax; ++at) {
          left.arbitrary_[at] = left.arbitrary_[at + 1];
        }
        left.arbitrary_[at] = {};
      }
      continue;
    }
    if (left.arbitrary_[Unit::kArbitraryMax - 1].exponent != 0) {
      return false;
    }
    for (std::size_t i = Unit::kArbitraryMax - 1; i > at; --i) {
      left.arbitrary_[i] = left.arbitrary_[i - 1];
    }
    left.arbitrary_[at] = {power.atom, static_cast<std::int16_t>(sign * power.exponent)};
  }
  return inverse ? left.magnitude_.divide(right.magnitude_)
                 : left.magnitude_.multiply(right.magnitude_);
}

bool Arithmetic::raise(Unit& unit, int exponent) {
  const auto scaled = [exponent](std::int16_t& count) {
    const int product = count * exponent;
    if (std::abs(product) > base::limits::kUnitExponentMax) {
      return false;
    }
    count = static_cast<std::int16_t>(product);
    return true;
  };
  for (std::int16_t& count : unit.dimension_) {
    if (!scaled(count)) {
      return false;
    }
  }
  for (ArbitraryPower& power : unit.arbitrary_) {
    if (!scaled(power.exponent)) {
      return false;
    }
    if (power.exponent == 0) {
      power = {};
    }
  }
  return unit.magnitude_.raise(exponent);
}

bool comparable(const Unit& a, const Unit& b) {
  return Arithmetic::same_dimension(a, b);
}

bool same_meaning(const Unit& a, const Unit& b) {
  return comparable(a, b) && a.scale() == b.scale() && a.magnitude() == b.magnitude() &&
         (!a.is_special() || Arithmetic::prefix_of(a) == Arithmetic::prefix_of(b));
}

}  // namespace engine::ucum
