// Math. Source: FHIRPath 2.0.0, 5.7; sum, min, max, avg from 3.0.
// Exponentials and logarithms go through binary floating point, 15 digits of it; everything else is
// exact.

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "engine/fhirpath/function.h"
#include "engine/fhirpath/units.h"

namespace engine::fhirpath {
namespace {

void give_decimal(Call& call, const std::optional<base::Decimal>& value) {
  if (value) {
    call.give(call.machine.make_decimal(*value));
  }
}

// nullopt for infinities, for what is no number, and outside what a Decimal holds.
std::optional<base::Decimal> from_double(double value) {
  if (!std::isfinite(value)) {
    return std::nullopt;
  }
  char text[40];
  const int length = std::snprintf(text, sizeof(text), "%.14e", value);
  const auto number = base::Decimal::parse({text, static_cast<std::size_t>(length)});
  if (!number) {
    return std::nullopt;
  }
  const base::Decimal plain = number->without_trailing_zeros();
  return plain.exponent() > 0 ? base::Decimal::add(plain, base::Decimal(0, 0)) : plain;
}

void give_integer(Call& call, const base::Decimal& value) {
  const auto whole = value.to_int64();
  const Item item = whole ? integer_item(*whole, false) : Item();
  if (!item.is_nothing()) {
    call.give(item);
  }
}

void abs(Call& call) {
  const Item value = call.single_input();
  if (value.kind == ItemKind::kQuantity) {
    const Quantity& quantity = *value.quantity;
    call.give(call.machine.make_quantity({quantity.value.abs(), quantity.unit, quantity.calendar}));
    return;
  }
  if (value.kind == ItemKind::kInteger) {
    const Item item =
        integer_item(value.integer < 0 ? -value.integer : value.integer, value.length != 0);
    if (!item.is_nothing()) {
      call.give(item);
    }
    return;
  }
  if (const auto number = call.number_input()) {
    give_decimal(call, number->abs());
  }
}

void ceiling(Call& call) {
  if (const auto number = call.number_input()) {
    give_integer(call, number->ceiling());
  }
}
void floor(Call& call) {
  if (const auto number = call.number_input()) {
    give_integer(call, number->floor());
  }
}
void truncate(Call& call) {
  if (const auto number = call.number_input()) {
    give_integer(call, number->truncated());
  }
}

void round(Call& call) {
  const auto number = call.number_input();
  std::int64_t digits = 0;
  if (call.has_argument(0)) {
    const auto wanted = call.integer_argument(0);
    if (!wanted) {
      return;
    }
    digits = *wanted;
  }
  if (digits < 0) {
    call.machine.fail("round() takes a number of digits of 0 or more");
  }
  if (number) {
    give_decimal(call, number->rounded(static_cast<int>(std::min<std::int64_t>(digits, 38))));
  }
}

template <double (*compute)(double)>
void through_double(Call& call) {
  if (const auto number = call.number_input()) {
    give_decimal(call, from_double(compute(number->to_double())));
  }
}

double natural_exp(double x) {
  return std::exp(x);
}
double natural_log(double x) {
  return x > 0 ? std::log(x) : NAN;
}

void log(Call& call) {
  const auto number = call.number_input();
  const auto radix = call.number_argument(0);
  if (!number || !radix || number->sign() <= 0 || radix->sign() <= 0) {
    return;
  }
  give_decimal(call, from_double(std::log(number->to_double()) / std::log(radix->to_double())));
}

void sqrt(Call& call) {
  const auto number = call.number_input();
  if (!number || number->sign() < 0) {
    return;
  }
  auto root = from_double(std::sqrt(number->to_double()));
  if (root && !root->is_zero()) {
    // One step of Newton's method doubles the good digits; exact roots come out exact.
    const auto quotient = base::Decimal::divide(*number, *root, 30);
    const auto sum = quotient ? base::Decimal::add(*root, *quotient) : std::nullopt;
    const auto better =
        sum ? base::Decimal::divide(*sum, base::Decimal::from_int(2), 28) : std::nullopt;
    root = better ? better : root;
  }
  give_decimal(call, root);
}

// By squaring, for whole exponents: exact as far as the digits reach, and at its end as soon as a
// factor leaves the range.
std::optional<base::Decimal> whole_power(base::Decimal value, std::uint64_t exponent) {
  base::Decimal result = base::Decimal::from_int(1);
  if (value.is_zero()) {
    value = base::Decimal();  // its digits behind the point would leave the range
  }
  for (bool first = true; exponent > 0; exponent /= 2, first = false) {
    if (!first) {
      const auto square = base::Decimal::multiply(value, value);
      if (!square) {
        return std::nullopt;
      }
      value = *square;
    }
    if (exponent % 2 != 0) {
      const auto product = base::Decimal::multiply(result, value);
      if (!product) {
        return std::nullopt;
      }
      result = *product;
    }
  }
  return result;
}

void power(Call& call) {
  const Item value = call.single_input();
  const auto number = call.number_input();
  const Item exponent = call.machine.single(call.argument(0));
  if (!number || exponent.is_nothing()) {
    return;
  }
  const auto raised = number_of(exponent);
  if (!raised) {
    call.machine.fail("the exponent of power() is a number");
  }
  const auto whole = raised->to_int64();
  if (!whole) {
    give_decimal(call, from_double(std::pow(number->to_double(), raised->to_double())));
    return;
  }
  const auto bits = static_cast<std::uint64_t>(*whole);
  const std::uint64_t size = *whole < 0 ? 0 - bits : bits;
  std::optional<base::Decimal> result = whole_power(*number, size);
  if (result && *whole < 0) {
    result = base::Decimal::divide(base::Decimal::from_int(1), *result);
  }
  if (result && value.kind == ItemKind::kInteger && *whole >= 0) {
    give_integer(call, *result);
    return;
  }
  give_decimal(call, result);
}

// Adds up the input; kNothing when it is empty or a sum does not exist.
Item total(Call& call) {
  Machine& machine = call.machine;
  Item sum;
  for (const Item& item : call.input()) {
    const Item value = machine.single({&item, 1});
    if (sum.is_nothing()) {
      sum = value;
      continue;
    }
    const std::size_t base = machine.top();
    push_arithmetic(machine, Op::kAdd, sum, value);
    if (machine.top() == base) {
      return {};
    }
    sum = *machine.at(base);
    machine.drop_to(base);
  }
  return sum;
}

void sum(Call& call) {
  const Item result = total(call);
  if (!result.is_nothing()) {
    call.give(result);
  }
}

void average(Call& call) {
  const Item result = total(call);
  if (result.is_nothing()) {
    return;
  }
  const Item count = Item::of_integer(static_cast<std::int64_t>(call.input().size()));
  call.begin();
  push_arithmetic(call.machine, Op::kDivide, result, count);
}

void extreme(Call& call, Comparison wanted) {
  Item best;
  for (const Item& item : call.input()) {
    const Item value = call.machine.single({&item, 1});
    if (best.is_nothing()) {
      best = value;
      continue;
    }
    const Comparison order = compare_values(call.machine, value, best);
    if (order == Comparison::kUnknown) {
      return;
    }
    best = order == wanted ? value : best;
  }
  if (!best.is_nothing()) {
    call.give(best);
  }
}

void minimum(Call& call) {
  extreme(call, Comparison::kLess);
}
void maximum(Call& call) {
  extreme(call, Comparison::kGreater);
}

constexpr Function kFunctions[] = {
    {"abs", 0, 0, Gives::kInput, abs},
    {"ceiling", 0, 0, Gives::kInteger, ceiling},
    {"floor", 0, 0, Gives::kInteger, floor},
    {"truncate", 0, 0, Gives::kInteger, truncate},
    {"round", 0, 1, Gives::kDecimal, round},
    {"exp", 0, 0, Gives::kDecimal, through_double<natural_exp>},
    {"ln", 0, 0, Gives::kDecimal, through_double<natural_log>},
    {"log", 1, 1, Gives::kDecimal, log},
    {"sqrt", 0, 0, Gives::kDecimal, sqrt},
    {"power", 1, 1, Gives::kUnknown, power},
    {"sum", 0, 0, Gives::kUnknown, sum},
    {"avg", 0, 0, Gives::kUnknown, average},
    {"min", 0, 0, Gives::kUnknown, minimum},
    {"max", 0, 0, Gives::kUnknown, maximum},
};

}  // namespace

std::span<const Function> math_functions() {
  return kFunctions;
}

}  // namespace engine::fhirpath
