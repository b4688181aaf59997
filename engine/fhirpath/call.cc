// A call's arguments and input as the types that functions want.

#include "engine/fhirpath/function.h"

namespace engine::fhirpath {

Items Call::argument(std::size_t i) {
  const std::size_t start = machine.top();
  Scope inner = scope;
  machine.evaluate(*tree.args[i], inner);
  machine.set_current(tree);
  return machine.from(start);
}

Items Call::lambda(std::size_t i, const Item& item, std::int64_t index) {
  Scope inner = scope;
  inner.self = {&item, 1};
  inner.index = index;
  const Items result = machine.evaluated(*tree.args[i], inner);
  machine.set_current(tree);
  return result;
}

namespace {

std::optional<std::string_view> text_of(Machine& machine, const Item& value, const char* what) {
  if (value.is_nothing()) {
    return std::nullopt;
  }
  if (value.kind != ItemKind::kString) {
    machine.fail(std::string(what) + " must be a string");
  }
  machine.tick_text(value.length);
  return value.text();
}

std::optional<base::Decimal> decimal_of(Machine& machine, const Item& value, const char* what) {
  if (value.is_nothing()) {
    return std::nullopt;
  }
  const std::optional<base::Decimal> number = number_of(value);
  if (!number) {
    machine.fail(std::string(what) + " must be a number");
  }
  return number;
}

}  // namespace

std::optional<std::string_view> Call::string_input() {
  return text_of(machine, single_input(), "the input");
}
std::optional<base::Decimal> Call::number_input() {
  return decimal_of(machine, single_input(), "the input");
}
std::optional<std::string_view> Call::string_argument(std::size_t i) {
  return text_of(machine, machine.single(argument(i)), "the argument");
}
std::optional<base::Decimal> Call::number_argument(std::size_t i) {
  return decimal_of(machine, machine.single(argument(i)), "the argument");
}
std::optional<std::int64_t> Call::integer_argument(std::size_t i) {
  const Item value = machine.single(argument(i));
  if (value.is_nothing()) {
    return std::nullopt;
  }
  if (value.kind != ItemKind::kInteger) {
    machine.fail("the argument must be an integer");
  }
  return value.integer;
}

}  // namespace engine::fhirpath
