// Conversion: toX and convertsToX. Source: FHIRPath 2.0.0, 5.5.

#include <algorithm>
#include <limits>

#include "engine/fhirpath/function.h"
#include "engine/fhirpath/letters.h"
#include "engine/fhirpath/temporal.h"
#include "engine/fhirpath/units.h"

namespace engine::fhirpath {
namespace {

using Convert = Item (*)(Call& call, const Item& value);

Item to_boolean(Call&, const Item& value) {
  switch (value.kind) {
    case ItemKind::kBoolean:
      return value;
    case ItemKind::kInteger:
      return value.integer == 0 || value.integer == 1 ? Item::of_boolean(value.integer == 1)
                                                      : Item();
    case ItemKind::kDecimal:
      if (*value.decimal == base::Decimal::from_int(1)) {
        return Item::of_boolean(true);
      }
      return value.decimal->is_zero() ? Item::of_boolean(false) : Item();
    case ItemKind::kString: {
      const std::string text = to_lower(value.text());
      for (const std::string_view yes : {"true", "t", "yes", "y", "1", "1.0"}) {
        if (text == yes) {
          return Item::of_boolean(true);
        }
      }
      for (const std::string_view no : {"false", "f", "no", "n", "0", "0.0"}) {
        if (text == no) {
          return Item::of_boolean(false);
        }
      }
      return {};
    }
    default:
      return {};
  }
}

bool all_digits(std::string_view text) {
  return !text.empty() &&
         std::all_of(text.begin(), text.end(), [](char c) { return c >= '0' && c <= '9'; });
}

std::string_view without_sign(std::string_view text) {
  return !text.empty() && (text.front() == '+' || text.front() == '-') ? text.substr(1) : text;
}

Item whole_number(const Item& value, bool is_long) {
  if (value.kind == ItemKind::kInteger) {
    return integer_item(value.integer, is_long);
  }
  if (value.kind == ItemKind::kBoolean) {
    return integer_item(value.boolean ? 1 : 0, is_long);
  }
  if (value.kind != ItemKind::kString || !all_digits(without_sign(value.text()))) {
    return {};
  }
  const auto number = base::Decimal::parse(value.text());
  const auto whole = number ? number->to_int64() : std::nullopt;
  return whole ? integer_item(*whole, is_long) : Item();
}

Item to_integer(Call&, const Item& value) {
  return whole_number(value, false);
}
Item to_long(Call&, const Item& value) {
  return whole_number(value, true);
}

// (\+|-)?\d+(\.\d+)?
bool is_decimal_text(std::string_view text) {
  text = without_sign(text);
  const std::size_t point = text.find('.');
  if (point == std::string_view::npos) {
    return all_digits(text);
  }
  return all_digits(text.substr(0, point)) && all_digits(text.substr(point + 1));
}

Item to_decimal(Call& call, const Item& value) {
  switch (value.kind) {
    case ItemKind::kDecimal:
      return value;
    case ItemKind::kInteger:
      return call.machine.make_decimal(base::Decimal::from_int(value.integer));
    case ItemKind::kBoolean:
      return call.machine.make_decimal(base::Decimal(value.boolean ? 10 : 0, -1));
    case ItemKind::kString: {
      if (!is_decimal_text(value.text())) {
        return {};
      }
      const auto number = base::Decimal::parse(value.text());
      return number ? call.machine.make_decimal(*number) : Item();
    }
    default:
      return {};
  }
}

// The time of day goes, without a shift of zones.
Item date_part(const Temporal& moment) {
  Temporal date;
  date.year = moment.year;
  date.month = moment.month;
  date.day = moment.day;
  date.precision = std::min(moment.precision, Precision::kDay);
  return Item::of_temporal(ItemKind::kDate, date);
}

Item to_date(Call&, const Item& value) {
  switch (value.kind) {
    case ItemKind::kDate:
      return value;
    case ItemKind::kDateTime:
      return date_part(value.temporal);
    case ItemKind::kString: {
      const std::optional<Temporal> moment = parse_date_time(value.text());
      return moment ? date_part(*moment) : Item();
    }
    default:
      return {};
  }
}

Item to_date_time(Call&, const Item& value) {
  switch (value.kind) {
    case ItemKind::kDateTime:
      return value;
    case ItemKind::kDate:
      return Item::of_temporal(ItemKind::kDateTime, value.temporal);
    case ItemKind::kString: {
      const auto moment = parse_date_time(value.text());
      return moment ? Item::of_temporal(ItemKind::kDateTime, *moment) : Item();
    }
    default:
      return {};
  }
}

Item to_time(Call&, const Item& value) {
  if (value.kind == ItemKind::kTime) {
    return value;
  }
  if (value.kind != ItemKind::kString) {
    return {};
  }
  std::string_view text = value.text();
  if (!text.empty() && text.front() == 'T') {
    text.remove_prefix(1);
  }
  const auto moment = parse_time(text);
  return moment ? Item::of_temporal(ItemKind::kTime, *moment) : Item();
}

// A number, optional white space, then a quoted UCUM code or a calendar word.
std::optional<Quantity> parse_quantity(std::string_view text) {
  std::size_t end = text.find_first_not_of("+-.0123456789");
  end = end == std::string_view::npos ? text.size() : end;
  if (!is_decimal_text(text.substr(0, end))) {
    return std::nullopt;
  }
  const auto value = base::Decimal::parse(text.substr(0, end));
  if (!value) {
    return std::nullopt;
  }
  std::string_view unit = text.substr(end);
  const std::size_t start = unit.find_first_not_of(" \t\r\n");
  if (start == std::string_view::npos) {
    return unit.empty() ? std::optional(Quantity{*value, "1", false}) : std::nullopt;
  }
  unit.remove_prefix(start);
  if (unit.front() == '\'') {
    if (unit.size() < 3 || unit.back() != '\'') {
      return std::nullopt;
    }
    unit = unit.substr(1, unit.size() - 2);
    return unit.find('\'') == std::string_view::npos ? std::optional(Quantity{*value, unit, false})
                                                     : std::nullopt;
  }
  const auto word = parse_calendar_word(unit);
  return word ? std::optional(Quantity{*value, name_of(*word), true}) : std::nullopt;
}

Item to_quantity(Call& call, const Item& value) {
  std::optional<Quantity> quantity;
  switch (value.kind) {
    case ItemKind::kQuantity:
      quantity = *value.quantity;
      break;
    case ItemKind::kInteger:
    case ItemKind::kDecimal:
      quantity = Quantity{*number_of(value), "1", false};
      break;
    case ItemKind::kBoolean:
      quantity = Quantity{base::Decimal(value.boolean ? 10 : 0, -1), "1", false};
      break;
    case ItemKind::kString:
      quantity = parse_quantity(value.text());
      break;
    default:
      break;
  }
  if (quantity && call.has_argument(0)) {
    const auto unit = call.string_argument(0);
    if (!unit) {
      return {};
    }
    quantity = convert(*quantity, *unit, call.machine.arena());
  }
  return quantity ? call.machine.make_quantity(*quantity) : Item();
}

Item to_string(Call& call, const Item& value) {
  switch (value.kind) {
    case ItemKind::kString:
      return value;
    case ItemKind::kNode:
    case ItemKind::kNothing:
    case ItemKind::kTypeName:
      return {};
    default:
      return call.machine.make_string(to_text(value));
  }
}

template <Convert convert_value>
void to(Call& call) {
  const Item value = call.single_input();
  if (value.is_nothing()) {
    return;
  }
  const Item result = convert_value(call, value);
  if (!result.is_nothing()) {
    call.give(result);
  }
}

template <Convert convert_value>
void converts_to(Call& call) {
  const Item value = call.single_input();
  if (!value.is_nothing()) {
    call.give(!convert_value(call, value).is_nothing());
  }
}

constexpr Function kFunctions[] = {
    {"toBoolean", 0, 0, Gives::kBoolean, to<to_boolean>},
    {"convertsToBoolean", 0, 0, Gives::kBoolean, converts_to<to_boolean>},
    {"toInteger", 0, 0, Gives::kInteger, to<to_integer>},
    {"convertsToInteger", 0, 0, Gives::kBoolean, converts_to<to_integer>},
    {"toLong", 0, 0, Gives::kInteger, to<to_long>},
    {"convertsToLong", 0, 0, Gives::kBoolean, converts_to<to_long>},
    {"toDecimal", 0, 0, Gives::kDecimal, to<to_decimal>},
    {"convertsToDecimal", 0, 0, Gives::kBoolean, converts_to<to_decimal>},
    {"toDate", 0, 0, Gives::kDate, to<to_date>},
    {"convertsToDate", 0, 0, Gives::kBoolean, converts_to<to_date>},
    {"toDateTime", 0, 0, Gives::kDateTime, to<to_date_time>},
    {"convertsToDateTime", 0, 0, Gives::kBoolean, converts_to<to_date_time>},
    {"toTime", 0, 0, Gives::kTime, to<to_time>},
    {"convertsToTime", 0, 0, Gives::kBoolean, converts_to<to_time>},
    {"toQuantity", 0, 1, Gives::kQuantity, to<to_quantity>},
    {"convertsToQuantity", 0, 1, Gives::kBoolean, converts_to<to_quantity>},
    {"toString", 0, 0, Gives::kString, to<to_string>},
    {"convertsToString", 0, 0, Gives::kBoolean, converts_to<to_string>},
};

}  // namespace

std::span<const Function> conversion_functions() {
  return kFunctions;
}

}  // namespace engine::fhirpath
