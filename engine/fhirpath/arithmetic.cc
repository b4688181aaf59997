// The operators + - * / div mod & on evaluated single values.
// Source: FHIRPath 2.0.0 "Math", "Date/Time Arithmetic"; the published R4 test file for units in
// date arithmetic.

#include <limits>

#include "engine/fhirpath/machine.h"
#include "engine/fhirpath/temporal.h"
#include "engine/fhirpath/units.h"

namespace engine::fhirpath {
namespace {

bool is_temporal(ItemKind kind) {
  return kind == ItemKind::kDate || kind == ItemKind::kDateTime || kind == ItemKind::kTime;
}

bool is_integer(const Item& item) {
  return item.kind == ItemKind::kInteger;
}

void push_decimal(Machine& machine, const std::optional<base::Decimal>& value) {
  if (value) {
    machine.push(machine.make_decimal(*value));
  }
}

void push_quantity(Machine& machine, const std::optional<Quantity>& value) {
  if (value) {
    machine.push(machine.make_quantity(*value));
  }
}

void push_integer(Machine& machine, std::int64_t value, bool is_long) {
  const Item item = integer_item(value, is_long);
  if (!item.is_nothing()) {
    machine.push(item);
  }
}

void integer_arithmetic(Machine& machine, Op op, const Item& left, const Item& right) {
  const bool is_long = left.length != 0 || right.length != 0;
  std::int64_t result = 0;
  bool overflow = false;
  switch (op) {
    case Op::kAdd:
      overflow = __builtin_add_overflow(left.integer, right.integer, &result);
      break;
    case Op::kSubtract:
      overflow = __builtin_sub_overflow(left.integer, right.integer, &result);
      break;
    case Op::kMultiply:
      overflow = __builtin_mul_overflow(left.integer, right.integer, &result);
      break;
    default: {  // div, mod
      const bool impossible =
          right.integer == 0 ||
          (left.integer == std::numeric_limits<std::int64_t>::min() && right.integer == -1);
      if (impossible) {
        return;
      }
      result = op == Op::kDiv ? left.integer / right.integer : left.integer % right.integer;
    }
  }
  if (!overflow) {
    push_integer(machine, result, is_long);
  }
}

void decimal_arithmetic(Machine& machine, Op op, const base::Decimal& left,
                        const base::Decimal& right) {
  switch (op) {
    case Op::kAdd:
      push_decimal(machine, base::Decimal::add(left, right));
      return;
    case Op::kSubtract:
      push_decimal(machine, base::Decimal::subtract(left, right));
      return;
    case Op::kMultiply:
      push_decimal(machine, base::Decimal::multiply(left, right));
      return;
    case Op::kDivide:
      push_decimal(machine, base::Decimal::divide(left, right));
      return;
    case Op::kDiv: {
      const auto quotient = base::Decimal::integer_quotient(left, right);
      const auto whole = quotient ? quotient->to_int64() : std::nullopt;
      if (whole) {
        push_integer(machine, *whole, false);
      }
      return;
    }
    default:
      push_decimal(machine, base::Decimal::remainder(left, right));
  }
}

void quantity_arithmetic(Machine& machine, Op op, const Quantity& left, const Quantity& right) {
  switch (op) {
    case Op::kAdd:
      push_quantity(machine, add(left, right));
      return;
    case Op::kSubtract:
      push_quantity(machine, add(left, {right.value.negated(), right.unit, right.calendar}));
      return;
    case Op::kMultiply:
      push_quantity(machine, multiply(left, right, machine.arena()));
      return;
    case Op::kDivide:
      push_quantity(machine, divide(left, right, machine.arena()));
      return;
    default:
      machine.fail("div and mod take numbers, not quantities");
  }
}

// A calendar word is accepted as a string unit too ('month'); of UCUM only what has a fixed length.
CalendarUnit duration_unit(Machine& machine, const Quantity& quantity) {
  std::optional<CalendarUnit> unit = parse_calendar_word(quantity.unit);
  if (!unit) {
    unit = calendar_unit_of_ucum(quantity.unit, false);
  }
  if (!unit) {
    machine.fail("a duration such as 3 days is expected; the unit '" + std::string(quantity.unit) +
                 "' is none for dates");
  }
  return *unit;
}

void temporal_arithmetic(Machine& machine, Op op, const Item& left, const Quantity& amount) {
  const CalendarUnit unit = duration_unit(machine, amount);
  if (left.kind == ItemKind::kTime && unit < CalendarUnit::kHour) {
    machine.fail("hours, minutes, seconds or milliseconds are expected with a time");
  }
  base::Decimal value = op == Op::kAdd ? amount.value : amount.value.negated();
  CalendarUnit counted = unit;
  // Only seconds have a fraction; it is carried as milliseconds, for calendar seconds.
  if (unit == CalendarUnit::kSecond && amount.calendar && !value.is_integer()) {
    const auto milliseconds = base::Decimal::multiply(value, base::Decimal::from_int(1000));
    if (milliseconds) {
      value = *milliseconds;
      counted = CalendarUnit::kMillisecond;
    }
  }
  const std::optional<std::int64_t> whole = value.truncated().to_int64();
  const std::optional<Temporal> result =
      whole ? add(left.kind, left.temporal, *whole, counted) : std::nullopt;
  if (result) {
    machine.push(Item::of_temporal(left.kind, *result));
  }
}

const char* sign_of(Op op) {
  switch (op) {
    case Op::kAdd:
      return "+";
    case Op::kSubtract:
      return "-";
    case Op::kMultiply:
      return "*";
    case Op::kDivide:
      return "/";
    case Op::kDiv:
      return "div";
    default:
      return "mod";
  }
}

std::optional<Quantity> quantity_of(const Item& item) {
  if (item.kind == ItemKind::kQuantity) {
    return *item.quantity;
  }
  const auto number = number_of(item);
  return number ? std::optional(Quantity{*number, "1", false}) : std::nullopt;
}

}  // namespace

Item integer_item(std::int64_t value, bool is_long) {
  if (!is_long && (value > std::numeric_limits<std::int32_t>::max() ||
                   value < std::numeric_limits<std::int32_t>::min())) {
    return {};
  }
  Item item = Item::of_integer(value);
  item.length = is_long ? 1 : 0;
  return item;
}

std::optional<base::Decimal> number_of(const Item& value) {
  if (value.kind == ItemKind::kInteger) {
    return base::Decimal::from_int(value.integer);
  }
  if (value.kind == ItemKind::kDecimal) {
    return *value.decimal;
  }
  return std::nullopt;
}

Item negated(Machine& machine, const Item& value) {
  switch (value.kind) {
    case ItemKind::kInteger:
      return integer_item(-value.integer, value.length != 0);
    case ItemKind::kDecimal:
      return machine.make_decimal(value.decimal->negated());
    case ItemKind::kQuantity:
      return machine.make_quantity(
          {value.quantity->value.negated(), value.quantity->unit, value.quantity->calendar});
    default:
      machine.fail("a minus sign stands before a number or a quantity");
  }
}

void push_arithmetic(Machine& machine, Op op, const Item& left, const Item& right) {
  if (op == Op::kAdd && left.kind == ItemKind::kString && right.kind == ItemKind::kString) {
    const std::string_view a = left.text();
    const std::string_view b = right.text();
    char* joined = machine.arena().make_array<char>(a.size() + b.size() + 1);
    a.copy(joined, a.size());
    b.copy(joined + a.size(), b.size());
    machine.push(Item::of_string({joined, a.size() + b.size()}));
    return;
  }
  if (is_integer(left) && is_integer(right) && op != Op::kDivide) {
    integer_arithmetic(machine, op, left, right);
    return;
  }
  const auto a = number_of(left);
  const auto b = number_of(right);
  if (a && b) {
    decimal_arithmetic(machine, op, *a, *b);
    return;
  }
  if (is_temporal(left.kind) && right.kind == ItemKind::kQuantity &&
      (op == Op::kAdd || op == Op::kSubtract)) {
    temporal_arithmetic(machine, op, left, *right.quantity);
    return;
  }
  const auto one = quantity_of(left);
  const auto two = quantity_of(right);
  if (one && two) {
    quantity_arithmetic(machine, op, *one, *two);
    return;
  }
  machine.fail(std::string("the operator ") + sign_of(op) + " does not take values of these types");
}

}  // namespace engine::fhirpath
