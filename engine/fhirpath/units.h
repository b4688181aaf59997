#pragma once
// Quantities of the language: UCUM units and calendar durations compared, converted and computed.
// Internal to the folder. Source: FHIRPath 2.0.0 "Quantity", 3.0 "Quantity equality/equivalence";
// standards of units in engine/ucum.

#include <optional>
#include <string_view>

#include "engine/base/arena.h"
#include "engine/fhirpath/item.h"
#include "engine/fhirpath/temporal.h"

namespace engine::fhirpath {

// kUnknown when the units do not compare. A calendar week, day ... millisecond equals the UCUM
// unit; a calendar year or month compares with no UCUM unit.
Order compare(const Quantity& a, const Quantity& b);
// Converted to the less granular of the two units, then compared at the precision of the less
// precise value. Calendar years and months are equivalent to 'a' and 'mo'.
bool equivalent(const Quantity& a, const Quantity& b);
bool comparable(const Quantity& a, const Quantity& b);

// In the more granular unit. nullopt when the units do not compare, for special units, and on
// overflow.
std::optional<Quantity> add(const Quantity& a, const Quantity& b);
// Units multiply; a result without unit has "1". Text of new units goes to the arena. nullopt as
// above.
std::optional<Quantity> multiply(const Quantity& a, const Quantity& b, base::Arena& arena);
std::optional<Quantity> divide(const Quantity& a, const Quantity& b, base::Arena& arena);
// The quantity in another unit (a UCUM code or a calendar word); nullopt when that is not possible.
std::optional<Quantity> convert(const Quantity& value, std::string_view unit, base::Arena& arena);

// Decimals equal at the precision of the less precise one, zeros at the end not counted.
bool equivalent(const base::Decimal& a, const base::Decimal& b);

}  // namespace engine::fhirpath
