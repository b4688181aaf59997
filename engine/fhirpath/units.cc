#include "engine/fhirpath/units.h"

#include <algorithm>
#include <string>
#include <utility>

#include "engine/ucum/ucum.h"

namespace engine::fhirpath {
namespace {

// The UCUM code of a calendar unit; years and months only where an approximation is allowed.
std::string_view ucum_code(CalendarUnit unit) {
  switch (unit) {
    case CalendarUnit::kYear:
      return "a";
    case CalendarUnit::kMonth:
      return "mo";
    case CalendarUnit::kWeek:
      return "wk";
    case CalendarUnit::kDay:
      return "d";
    case CalendarUnit::kHour:
      return "h";
    case CalendarUnit::kMinute:
      return "min";
    case CalendarUnit::kSecond:
      return "s";
    case CalendarUnit::kMillisecond:
      return "ms";
  }
  return "s";
}

bool is_long_unit(CalendarUnit unit) {
  return unit == CalendarUnit::kYear || unit == CalendarUnit::kMonth;
}

// One unit of `from` in units of `to`, as a quotient; years count 12 months among each other.
std::pair<std::int64_t, std::int64_t> calendar_ratio(CalendarUnit from, CalendarUnit to) {
  if (is_long_unit(from) && is_long_unit(to)) {
    return {from == CalendarUnit::kYear ? 12 : 1, to == CalendarUnit::kYear ? 12 : 1};
  }
  return {milliseconds_per(from), milliseconds_per(to)};
}

std::optional<base::Decimal> calendar_convert(const base::Decimal& value, CalendarUnit from,
                                              CalendarUnit to) {
  const auto [up, down] = calendar_ratio(from, to);
  const auto scaled = base::Decimal::multiply(value, base::Decimal::from_int(up));
  if (!scaled) {
    return std::nullopt;
  }
  return down == 1 ? scaled : base::Decimal::divide(*scaled, base::Decimal::from_int(down));
}

CalendarUnit unit_of(const Quantity& quantity) {
  return *parse_calendar_word(quantity.unit);  // calendar quantities are made from the words only
}

bool same_unit(const Quantity& a, const Quantity& b) {
  return a.calendar == b.calendar && a.unit == b.unit;
}

// The quantity for engine/ucum; nullopt for a code it does not know and for years and months unless
// approximate.
std::optional<ucum::Quantity> ucum_quantity(const Quantity& quantity, bool approximate) {
  std::string_view code = quantity.unit;
  if (quantity.calendar) {
    const CalendarUnit unit = unit_of(quantity);
    if (is_long_unit(unit) && !approximate) {
      return std::nullopt;
    }
    code = ucum_code(unit);
  }
  auto unit = ucum::UnitTable::standard().parse(code);
  if (!unit) {
    return std::nullopt;
  }
  return ucum::Quantity{quantity.value, *unit};
}

std::optional<std::pair<ucum::Quantity, ucum::Quantity>> ucum_pair(const Quantity& a,
                                                                   const Quantity& b,
                                                                   bool approximate) {
  const auto left = ucum_quantity(a, approximate);
  const auto right = ucum_quantity(b, approximate);
  if (!left || !right || !ucum::comparable(left->unit, right->unit)) {
    return std::nullopt;
  }
  return std::pair(*left, *right);
}

Order order_of(const base::Decimal& a, const base::Decimal& b) {
  const int order = base::Decimal::compare(a, b);
  return order < 0 ? Order::kLess : (order > 0 ? Order::kGreater : Order::kEqual);
}

std::optional<Quantity> from_ucum(const base::Result<ucum::Quantity>& result, base::Arena& arena) {
  if (!result) {
    return std::nullopt;
  }
  const std::string code = ucum::UnitTable::standard().canonical_code(result->unit);
  return Quantity{result->value, code.empty() ? std::string_view("1") : arena.copy(code), false};
}

}  // namespace

Order compare(const Quantity& a, const Quantity& b) {
  if (same_unit(a, b)) {
    return order_of(a.value, b.value);
  }
  if (a.calendar && b.calendar) {
    const CalendarUnit to = std::max(unit_of(a), unit_of(b));
    const auto left = calendar_convert(a.value, unit_of(a), to);
    const auto right = calendar_convert(b.value, unit_of(b), to);
    return left && right ? order_of(*left, *right) : Order::kUnknown;
  }
  const auto pair = ucum_pair(a, b, false);
  if (!pair) {
    return Order::kUnknown;
  }
  const auto order = ucum::compare(pair->first, pair->second);
  if (!order) {
    return Order::kUnknown;
  }
  if (*order == std::strong_ordering::equal) {
    return Order::kEqual;
  }
  return *order == std::strong_ordering::less ? Order::kLess : Order::kGreater;
}

bool equivalent(const base::Decimal& a, const base::Decimal& b) {
  const base::Decimal left = a.without_trailing_zeros();
  const base::Decimal right = b.without_trailing_zeros();
  const int scale = std::min(left.scale(), right.scale());
  return left.rounded(scale) == right.rounded(scale);
}

bool equivalent(const Quantity& a, const Quantity& b) {
  if (same_unit(a, b)) {
    return equivalent(a.value, b.value);
  }
  if (a.calendar && b.calendar) {
    const CalendarUnit to = std::min(unit_of(a), unit_of(b));
    const auto left = calendar_convert(a.value, unit_of(a), to);
    const auto right = calendar_convert(b.value, unit_of(b), to);
    return left && right && equivalent(*left, *right);
  }
  const auto pair = ucum_pair(a, b, true);
  if (!pair) {
    return false;
  }
  const auto size = ucum::compare_size(pair->first.unit, pair->second.unit);
  const bool to_left = !size || *size != std::strong_ordering::less;
  const auto converted =
      to_left ? ucum::convert(pair->second.value, pair->second.unit, pair->first.unit)
              : ucum::convert(pair->first.value, pair->first.unit, pair->second.unit);
  return converted && equivalent(to_left ? pair->first.value : pair->second.value, *converted);
}

bool comparable(const Quantity& a, const Quantity& b) {
  return same_unit(a, b) || (a.calendar && b.calendar) || ucum_pair(a, b, false).has_value();
}

std::optional<Quantity> add(const Quantity& a, const Quantity& b) {
  if (same_unit(a, b)) {
    if (!a.calendar) {
      const auto unit = ucum::UnitTable::standard().parse(a.unit);
      if (unit && unit->is_special()) {
        return std::nullopt;
      }
    }
    const auto sum = base::Decimal::add(a.value, b.value);
    return sum ? std::optional(Quantity{*sum, a.unit, a.calendar}) : std::nullopt;
  }
  if (a.calendar && b.calendar) {
    const CalendarUnit to = std::max(unit_of(a), unit_of(b));
    const auto left = calendar_convert(a.value, unit_of(a), to);
    const auto right = calendar_convert(b.value, unit_of(b), to);
    const auto sum = left && right ? base::Decimal::add(*left, *right) : std::nullopt;
    return sum ? std::optional(Quantity{*sum, name_of(to), true}) : std::nullopt;
  }
  const auto pair = ucum_pair(a, b, false);
  if (!pair || pair->first.unit.is_special() || pair->second.unit.is_special()) {
    return std::nullopt;
  }
  const auto size = ucum::compare_size(pair->first.unit, pair->second.unit);
  if (!size) {
    return std::nullopt;
  }
  const bool to_left = *size != std::strong_ordering::greater;
  const auto converted =
      to_left ? ucum::convert(pair->second.value, pair->second.unit, pair->first.unit)
              : ucum::convert(pair->first.value, pair->first.unit, pair->second.unit);
  if (!converted) {
    return std::nullopt;
  }
  const auto sum = base::Decimal::add(to_left ? a.value : b.value, *converted);
  const Quantity& unit = to_left ? a : b;
  return sum ? std::optional(Quantity{*sum, unit.unit, unit.calendar}) : std::nullopt;
}

std::optional<Quantity> multiply(const Quantity& a, const Quantity& b, base::Arena& arena) {
  if (a.unit == "1" || b.unit == "1") {
    const auto product = base::Decimal::multiply(a.value, b.value);
    const Quantity& unit = a.unit == "1" ? b : a;
    return product ? std::optional(Quantity{*product, unit.unit, unit.calendar}) : std::nullopt;
  }
  const auto left = ucum_quantity(a, false);
  const auto right = ucum_quantity(b, false);
  return left && right ? from_ucum(ucum::multiply(*left, *right), arena) : std::nullopt;
}

std::optional<Quantity> divide(const Quantity& a, const Quantity& b, base::Arena& arena) {
  if (b.unit == "1" || same_unit(a, b)) {
    const auto quotient = base::Decimal::divide(a.value, b.value);
    if (!quotient) {
      return std::nullopt;
    }
    return b.unit == "1" ? Quantity{*quotient, a.unit, a.calendar}
                         : Quantity{*quotient, "1", false};
  }
  const auto left = ucum_quantity(a, false);
  const auto right = ucum_quantity(b, false);
  return left && right ? from_ucum(ucum::divide(*left, *right), arena) : std::nullopt;
}

std::optional<Quantity> convert(const Quantity& value, std::string_view unit, base::Arena& arena) {
  const std::optional<CalendarUnit> word = parse_calendar_word(unit);
  const Quantity to{base::Decimal(), word ? name_of(*word) : unit, word.has_value()};
  if (same_unit(value, to)) {
    return value;
  }
  if (value.calendar && to.calendar) {
    const auto converted = calendar_convert(value.value, unit_of(value), *word);
    return converted ? std::optional(Quantity{*converted, to.unit, true}) : std::nullopt;
  }
  const auto pair = ucum_pair(value, to, false);
  if (!pair) {
    return std::nullopt;
  }
  const auto converted = ucum::convert(value.value, pair->first.unit, pair->second.unit);
  return converted
             ? std::optional(Quantity{*converted, word ? to.unit : arena.copy(unit), to.calendar})
             : std::nullopt;
}

}  // namespace engine::fhirpath
