// The binary operators on evaluated operands: comparison, membership, union, and the way to
// arithmetic.

#include <algorithm>

#include "engine/fhirpath/machine.h"
#include "engine/fhirpath/temporal.h"
#include "engine/fhirpath/units.h"

namespace engine::fhirpath {
namespace {

void push_truth(Machine& machine, Truth truth, bool negate) {
  if (truth != Truth::kEmpty) {
    machine.push_boolean((truth == Truth::kTrue) != negate);
  }
}

Comparison comparison_of(Order order) {
  switch (order) {
    case Order::kLess:
      return Comparison::kLess;
    case Order::kEqual:
      return Comparison::kEqual;
    case Order::kGreater:
      return Comparison::kGreater;
    case Order::kUnknown:
      return Comparison::kUnknown;
  }
  return Comparison::kUnknown;
}

template <class T>
Comparison three_way(const T& a, const T& b) {
  return a < b ? Comparison::kLess : (b < a ? Comparison::kGreater : Comparison::kEqual);
}

bool is_moment(ItemKind kind) {
  return kind == ItemKind::kDate || kind == ItemKind::kDateTime;
}

void push_order(Machine& machine, Op op, Items left, Items right) {
  const Item a = machine.single(left);
  const Item b = machine.single(right);
  if (a.is_nothing() || b.is_nothing()) {
    return;
  }
  const Comparison order = compare_values(machine, a, b);
  if (order == Comparison::kUnknown) {
    return;
  }
  bool result = false;
  switch (op) {
    case Op::kLess:
      result = order == Comparison::kLess;
      break;
    case Op::kLessEqual:
      result = order != Comparison::kGreater;
      break;
    case Op::kGreater:
      result = order == Comparison::kGreater;
      break;
    default:
      result = order != Comparison::kLess;
  }
  machine.push_boolean(result);
}

void push_membership(Machine& machine, Items element, Items collection) {
  if (element.empty()) {
    return;
  }
  if (element.size() > 1) {
    machine.fail("one item is expected here, not " + std::to_string(element.size()));
  }
  for (const Item& candidate : collection) {
    if (equal(machine, element.front(), candidate) == Truth::kTrue) {
      machine.push_boolean(true);
      return;
    }
  }
  machine.push_boolean(false);
}

void push_concatenation(Machine& machine, Items left, Items right) {
  const auto text_of = [&machine](Items items) -> std::string_view {
    const Item value = machine.single(items);
    if (value.is_nothing()) {
      return {};
    }
    if (value.kind != ItemKind::kString) {
      machine.fail("& joins strings; toString() makes one");
    }
    return value.text();
  };
  push_arithmetic(machine, Op::kAdd, Item::of_string(text_of(left)),
                  Item::of_string(text_of(right)));
}

void push_union(Machine& machine, Items left, Items right) {
  DistinctItems seen(machine);
  for (const Items& part : {left, right}) {
    for (const Item& item : part) {
      if (seen.insert(item)) {
        machine.push(item);
      }
    }
  }
}

}  // namespace

Comparison compare_values(Machine& machine, const Item& a, const Item& b) {
  if (a.kind == ItemKind::kString && b.kind == ItemKind::kString) {
    machine.tick_text(std::min(a.length, b.length));
    return three_way(a.text(), b.text());
  }
  if (a.kind == ItemKind::kInteger && b.kind == ItemKind::kInteger) {
    return three_way(a.integer, b.integer);
  }
  const auto left = number_of(a);
  const auto right = number_of(b);
  if (left && right) {
    return three_way(*left, *right);
  }
  if ((is_moment(a.kind) && is_moment(b.kind)) ||
      (a.kind == ItemKind::kTime && b.kind == ItemKind::kTime)) {
    return comparison_of(compare(a.temporal, b.temporal));
  }
  const bool quantities = (a.kind == ItemKind::kQuantity || left.has_value()) &&
                          (b.kind == ItemKind::kQuantity || right.has_value());
  if (quantities) {
    const Quantity one = left ? Quantity{*left, "1", false} : *a.quantity;
    const Quantity two = right ? Quantity{*right, "1", false} : *b.quantity;
    return comparison_of(compare(one, two));
  }
  // A Quantity without a UCUM code has no System value: whether it is more or less nobody can say.
  const auto is_quantity_node = [&machine](const Item& item) {
    return item.is_node() && machine.class_of(item) == ValueClass::kQuantity;
  };
  if ((is_quantity_node(a) || a.kind == ItemKind::kQuantity || left) &&
      (is_quantity_node(b) || b.kind == ItemKind::kQuantity || right)) {
    return Comparison::kUnknown;
  }
  machine.fail("values of these types have no order");
}

void push_binary(Machine& machine, const Tree& tree, Items left, Items right) {
  switch (tree.op) {
    case Op::kEqual:
    case Op::kNotEqual:
      push_truth(machine, equal(machine, left, right), tree.op == Op::kNotEqual);
      return;
    case Op::kEquivalent:
    case Op::kNotEquivalent:
      machine.push(
          Item::of_boolean(equivalent(machine, left, right) != (tree.op == Op::kNotEquivalent)));
      return;
    case Op::kLess:
    case Op::kLessEqual:
    case Op::kGreater:
    case Op::kGreaterEqual:
      push_order(machine, tree.op, left, right);
      return;
    case Op::kIn:
      push_membership(machine, left, right);
      return;
    case Op::kContains:
      push_membership(machine, right, left);
      return;
    case Op::kConcatenate:
      push_concatenation(machine, left, right);
      return;
    case Op::kUnion:
      push_union(machine, left, right);
      return;
    default:
      break;
  }
  const Item a = machine.single(left);
  const Item b = machine.single(right);
  if (!a.is_nothing() && !b.is_nothing()) {
    push_arithmetic(machine, tree.op, a, b);
  }
}

}  // namespace engine::fhirpath
