#pragma once
// exp and ln of exact decimals, to 20 digits after the point: the same on every machine, which a
// floating-point library does not promise. For predicted values only.

#include <optional>

#include "engine/base/decimal.h"

namespace engine::therapy {

// nullopt when the value is not positive.
std::optional<base::Decimal> natural_log(const base::Decimal& value);
// nullopt beyond |value| = 40, where no clinical quantity lies.
std::optional<base::Decimal> exponential(const base::Decimal& value);

}  // namespace engine::therapy
