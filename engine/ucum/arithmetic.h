#pragma once
// What the folder's own .cc files may do to a Unit and a Magnitude. Not for other folders.

#include <optional>
#include <string_view>

#include "engine/ucum/big_rational.h"
#include "engine/ucum/ucum.h"

namespace engine::ucum {

struct Arithmetic {
  // --- Units; false past the limits of base/limits.h or of three arbitrary units.
  static bool multiply(Unit& left, const Unit& right, bool inverse);
  static bool raise(Unit& unit, int exponent);
  static void apply_prefix(Unit& unit, const PrefixFact& prefix);
  static Unit base_unit(std::size_t index);
  static Unit arbitrary_unit(std::uint16_t atom);
  static Unit ten();
  static Unit pi();
  static bool apply_factor(Unit& unit, const Magnitude& factor);
  static void set_scale(Unit& unit, Scale scale) { unit.scale_ = scale; }
  static Unit without_magnitude(const Unit& unit);
  static bool same_dimension(const Unit& a, const Unit& b) {
    return a.dimension_ == b.dimension_ && a.arbitrary_ == b.arbitrary_;
  }
  static Magnitude prefix_of(const Unit& special);
  using ArbitraryPower = Unit::ArbitraryPower;
  static const auto& arbitrary(const Unit& unit) { return unit.arbitrary_; }

  // --- Numbers
  // value x ratio within 128 bits. `exact` tells whether it was rounded. False when it does not
  // fit.
  static bool scale_narrow(const base::Decimal& value, const Magnitude& ratio, base::Decimal& out,
                           bool& exact);
  // The same for every size, with pi.
  static base::Result<base::Decimal> scale(const base::Decimal& value, const Magnitude& ratio);
  // The rational part; pi is left out.
  static mpq_class rational(const Magnitude& magnitude);
  static mpq_class rational(const base::Decimal& value);
  // digits_hint: zeros at the end are kept up to that many significant digits.
  static base::Result<base::Decimal> to_decimal(const mpq_class& value, int digits_hint);
};

// Significant digits of a rounded result: those of IEEE 754 decimal128.
inline constexpr int kRoundedDigits = 34;

int digit_count(base::UInt128 value);
// Zeros at the end of the fraction are dropped while the number has more digits than `digits`.
base::Decimal trimmed(const base::Decimal& value, int digits);
base::Error out_of_range();
base::Error mismatch(std::string_view why);

// --- Scales (scale.cc)
bool is_affine(Scale scale);
// What the scale adds to the value shown to reach its reference: 273.15 for kCelsius.
base::Decimal offset_of(Scale scale);
// The value in base units of a quantity on any scale, and back, to 34 digits; nullopt where the
// scale has no such value or it is out of range.
std::optional<base::Decimal> to_base(const base::Decimal& value, const Unit& unit);
std::optional<base::Decimal> convert_real(const base::Decimal& value, const Unit& from,
                                          const Unit& to);
// value x ratio x pi^p.
std::optional<base::Decimal> scale_with_pi(const mpq_class& value, int pi_exponent);

}  // namespace engine::ucum
