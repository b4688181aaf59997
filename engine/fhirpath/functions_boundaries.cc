// lowBoundary, highBoundary, precision, comparable. Source: FHIRPath 3.0 (standard for trial use),
// and the published R4 test file where the text leaves the rounding open.

#include "engine/fhirpath/function.h"
#include "engine/fhirpath/temporal.h"
#include "engine/fhirpath/units.h"

namespace engine::fhirpath {
namespace {

constexpr int kDecimalDigits = 8;      // when no precision is asked for
constexpr int kDecimalDigitsMax = 31;  // beyond it there is no answer

// The magnitude moves by half of its last digit. What is asked for with fewer digits is cut on the
// side of zero and rounded half up on the other, as the published tests have it.
std::optional<base::Decimal> decimal_boundary(const base::Decimal& value, bool high,
                                              std::int64_t digits) {
  if (digits < 0 || digits > kDecimalDigitsMax) {
    return std::nullopt;
  }
  const bool negative = value.sign() < 0;
  const base::Decimal half(5, -(value.scale() + 1));
  const bool outwards = value.is_zero() || negative != high;
  const auto moved =
      outwards ? base::Decimal::add(value.abs(), half) : base::Decimal::subtract(value.abs(), half);
  if (!moved) {
    return std::nullopt;
  }
  const int scale = static_cast<int>(digits);
  base::Decimal cut = outwards ? moved->rounded(scale) : [&] {
    const base::Decimal rounded = moved->rounded(scale);
    if (rounded <= *moved) {
      return rounded;
    }
    const auto lower = base::Decimal::subtract(rounded, base::Decimal(1, -scale));
    return lower.value_or(rounded);
  }();
  cut = cut.with_scale(scale);
  const bool below_zero = value.is_zero() ? !high : negative;
  return below_zero ? cut.negated() : cut;
}

void give_boundary(Call& call, bool high) {
  const Item value = call.single_input();
  if (value.is_nothing()) {
    return;
  }
  std::optional<std::int64_t> digits;
  if (call.has_argument(0)) {
    digits = call.integer_argument(0);
    if (!digits) {
      return;
    }
  }
  if (const auto number = number_of(value)) {
    if (const auto bound = decimal_boundary(*number, high, digits.value_or(kDecimalDigits))) {
      call.give(call.machine.make_decimal(*bound));
    }
    return;
  }
  std::int64_t most = 0;
  switch (value.kind) {
    case ItemKind::kQuantity: {
      const Quantity& quantity = *value.quantity;
      if (const auto bound =
              decimal_boundary(quantity.value, high, digits.value_or(kDecimalDigits))) {
        call.give(call.machine.make_quantity({*bound, quantity.unit, quantity.calendar}));
      }
      return;
    }
    case ItemKind::kDate:
      most = 8;
      break;
    case ItemKind::kDateTime:
      most = 17;
      break;
    case ItemKind::kTime:
      most = 9;
      break;
    default:
      call.machine.fail("a number, quantity, date or time has boundaries");
  }
  const std::int64_t wanted = digits.value_or(most);
  if (wanted < 0 || wanted > most) {
    return;
  }
  if (const auto bound = boundary(value.kind, value.temporal, high, static_cast<int>(wanted))) {
    call.give(Item::of_temporal(value.kind, *bound));
  }
}

void low_boundary(Call& call) {
  give_boundary(call, false);
}
void high_boundary(Call& call) {
  give_boundary(call, true);
}

void precision(Call& call) {
  const Item value = call.single_input();
  switch (value.kind) {
    case ItemKind::kNothing:
      return;
    case ItemKind::kInteger:
    case ItemKind::kDecimal:
      call.give(Item::of_integer(number_of(value)->scale()));
      return;
    case ItemKind::kDate:
    case ItemKind::kDateTime:
    case ItemKind::kTime:
      call.give(Item::of_integer(precision_digits(value.kind, value.temporal)));
      return;
    default:
      call.machine.fail("a number, date or time has a precision");
  }
}

void are_comparable(Call& call) {
  const Item one = call.single_input();
  const Item two = call.machine.single(call.argument(0));
  if (one.is_nothing() || two.is_nothing()) {
    return;
  }
  if (one.kind != ItemKind::kQuantity || two.kind != ItemKind::kQuantity) {
    call.machine.fail("comparable() compares quantities");
  }
  call.give(comparable(*one.quantity, *two.quantity));
}

constexpr Function kFunctions[] = {
    {"lowBoundary", 0, 1, Gives::kUnknown, low_boundary},
    {"highBoundary", 0, 1, Gives::kUnknown, high_boundary},
    {"precision", 0, 0, Gives::kInteger, precision},
    {"comparable", 1, 1, Gives::kBoolean, are_comparable},
};

}  // namespace

std::span<const Function> boundary_functions() {
  return kFunctions;
}

}  // namespace engine::fhirpath
