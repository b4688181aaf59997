#pragma once
// Units of measure: the Unified Code for Units of Measure (UCUM 2.2), case-sensitive codes, the
// ones FHIR uses. Parses, validates, compares and converts. Exact: a unit's magnitude is a rational
// number times a power of pi, so a conversion is rounded only where its result has no finite
// decimal form (34 significant digits, half away from zero). Everything here is immutable after
// building and may be used from many threads at once. Units know the table they came from only by
// number: never mix units of two tables.

#include <array>
#include <compare>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "engine/base/decimal.h"
#include "engine/base/result.h"
#include "engine/ucum/magnitude.h"

namespace engine::ucum {

inline constexpr std::string_view kSystem = "http://unitsofmeasure.org";

// How a special unit's scale bends (UCUM section 21 and 22). f: proper value in reference units ->
// value shown.
enum class Scale : std::uint8_t {
  kRatio,       // no bend: an ordinary unit
  kCelsius,     // x - 273.15
  kFahrenheit,  // x - 459.67
  kReaumur,     // x - 218.52
  kMinusLg,     // -lg x, as pH
  kLg,
  kTwoLg,
  kLn,
  kLd,
  kHundredTan,  // x in radian
  kSquareRoot,
  kMinusLgHundred,  // -lg x / lg 100, homeopathic series
  kMinusLgThousand,
  kMinusLgFiftyThousand,
};

// One row of a unit table: symbol = factor x unit. `unit` is a UCUM term over other rows; empty for
// a base unit. `factor` is a decimal ("133.322", "1e-3") or a quotient of two ("1200/3937"). For a
// special unit the two give the reference of its scale: 5/9 of K for [degF].
struct UnitFact {
  std::string_view symbol;
  std::string_view name;
  std::string_view factor;
  std::string_view unit;
  bool metric = false;
  bool arbitrary = false;
  Scale scale = Scale::kRatio;
};
struct PrefixFact {
  std::string_view symbol;
  std::string_view name;
  int base = 10;  // 10 or 2
  int exponent = 0;
};

inline constexpr std::size_t kBaseUnits = 7;  // m s g rad K C cd, in this order
using Dimension = std::array<std::int16_t, kBaseUnits>;

// What a code means. Copying is cheap.
class Unit {
 public:
  Unit() = default;  // unity, "1"

  const Magnitude& magnitude() const { return magnitude_; }
  const Dimension& dimension() const { return dimension_; }
  bool is_dimensionless() const { return dimension_ == Dimension{}; }
  // Cel, [degF], [pH], B ...: may be compared and converted, never multiplied or divided.
  bool is_special() const { return scale_ != Scale::kRatio; }
  Scale scale() const { return scale_; }
  // [iU], [arb'U] ...: comparable only with the same arbitrary unit.
  bool is_arbitrary() const { return arbitrary_[0].exponent != 0; }

 private:
  friend struct Arithmetic;

  struct ArbitraryPower {
    std::uint16_t atom = 0;
    std::int16_t exponent = 0;
    friend bool operator==(const ArbitraryPower&, const ArbitraryPower&) = default;
  };
  static constexpr std::size_t kArbitraryMax = 3;

  Magnitude magnitude_;  // in base units; of a special unit, its reference
  Dimension dimension_{};
  std::array<ArbitraryPower, kArbitraryMax> arbitrary_{};  // by atom, the used ones first
  std::int16_t prefix_ten_ = 0;  // of a special unit: the value shown counts 10^ten x 2^two
  std::int16_t prefix_two_ = 0;
  Scale scale_ = Scale::kRatio;
};

struct Quantity {
  base::Decimal value;
  Unit unit;
};

// Same dimension (and the same arbitrary units): one can be converted to the other. An amount of
// substance is a number in UCUM, so mol/L and /L are comparable.
bool comparable(const Unit& a, const Unit& b);
// Comparable, of the same magnitude and on the same scale: "L/min" and "l/min", "Pa" and "N/m2".
bool same_meaning(const Unit& a, const Unit& b);

// The value in unit `to`. Exact where the result has at most 38 digits, else 34 significant digits,
// half away from zero. Zeros at the end are kept only up to the number of digits the value came
// with: 100 cm are 1.00 m, 60 s are 1.0 min. Errors: kUnitMismatch; kOutOfRange (outside Decimal,
// or no such value on a logarithmic scale).
base::Result<base::Decimal> convert(const base::Decimal& value, const Unit& from, const Unit& to);

// Which of two quantities is greater, without rounding (on logarithmic scales: to 34 digits).
// Errors: kUnitMismatch.
base::Result<std::strong_ordering> compare(const Quantity& a, const Quantity& b);
// Which of two comparable ratio units is the larger one: g against kg is less.
base::Result<std::strong_ordering> compare_size(const Unit& a, const Unit& b);

// The product and quotient in base units, with the rounding of convert(). Errors: kUnitMismatch for
// a special unit, kOutOfRange, kInvalid for a zero divisor.
base::Result<Quantity> multiply(const Quantity& a, const Quantity& b);
base::Result<Quantity> divide(const Quantity& a, const Quantity& b);
// The same quantity in base units; a special unit in the base units of its reference (Cel in K).
base::Result<Quantity> canonical(const Quantity& quantity);

// Why a valid code is probably not what was meant: "C" is coulomb. nullptr when nothing is
// suspected.
struct Suspicion {
  std::string_view code;
  std::string_view means;     // what the code says
  std::string_view probably;  // the code that was probably meant
};
const Suspicion* suspect(std::string_view code);

struct Rows;  // table.h

class UnitTable {
 public:
  // Our own table of the facts of UCUM 2.2.
  static const UnitTable& standard();
  // A table from other facts, whose order does not matter. The texts are copied. Errors: kInvalid
  // naming the row, for a unit defined by itself, an unknown symbol, a number that cannot be read.
  static base::Result<UnitTable> build(std::span<const PrefixFact> prefixes,
                                       std::span<const UnitFact> units);

  UnitTable(UnitTable&&) noexcept;
  UnitTable& operator=(UnitTable&&) noexcept;
  ~UnitTable();

  // Errors: kInvalid with where = "character N" (from 1) and, for a frequent mistake, the right
  // code in the detail; kLimit for a code over limits::kUnitCodeBytesMax or magnitudes beyond
  // limits::kUnitMagnitudeBitsMax.
  base::Result<Unit> parse(std::string_view code) const;
  base::Result<void> validate(std::string_view code) const;
  bool is_valid(std::string_view code) const;

  // convert() from codes.
  base::Result<base::Decimal> convert(const base::Decimal& value, std::string_view from,
                                      std::string_view to) const;
  // False also when one of them is no valid code.
  bool comparable(std::string_view a, std::string_view b) const;

  // The code of a unit of magnitude one with this unit's dimension: "g.m-1.s-2", "1".
  std::string canonical_code(const Unit& unit) const;
  // In words: "(milliliter) / (minute)"; "(unity)" for unity and for the empty text.
  base::Result<std::string> display(std::string_view code) const;

  // The code that was probably meant by an invalid one: "mmHg" -> "mm[Hg]". Empty when there is no
  // good guess.
  std::string suggest(std::string_view code) const;

  std::size_t size() const;  // unit symbols, without prefixed forms

 private:
  explicit UnitTable(std::unique_ptr<const Rows> rows);
  std::unique_ptr<const Rows> rows_;
};

}  // namespace engine::ucum
