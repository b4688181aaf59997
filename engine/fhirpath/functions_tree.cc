// The tree and utilities: children, descendants, not, trace, type, defineVariable.
// Source: FHIRPath 2.0.0, 5.8 and 5.9; defineVariable from 3.0.

#include "engine/fhirpath/function.h"

namespace engine::fhirpath {
namespace {

void children(Call& call) {
  call.begin();
  for (const Item& item : call.input()) {
    call.machine.push_all_children(item);
  }
}

// The results are the queue of what still has children.
void descendants(Call& call) {
  children(call);
  for (std::size_t i = call.result_start(); i < call.machine.top(); ++i) {
    const Item item = *call.machine.at(i);
    call.machine.push_all_children(item);
  }
}

// A single item that is no boolean counts as true.
void negate(Call& call) {
  const Truth truth = call.machine.truth(call.input());
  if (truth != Truth::kEmpty) {
    call.give(truth == Truth::kFalse);
  }
}

void trace(Call& call) {
  const auto name = call.string_argument(0);
  if (!name) {
    call.machine.fail("trace() needs a name");
  }
  if (call.has_argument(1)) {
    const std::size_t start = call.machine.top();
    std::int64_t index = 0;
    for (const Item& item : call.input()) {
      call.machine.push_all(call.lambda(1, item, index++));
    }
    call.machine.host().trace(*name, call.machine.from(start));
  } else {
    call.machine.host().trace(*name, call.input());
  }
  call.begin();
  call.machine.push_all(call.input());
}

std::string_view system_name(const Item& item) {
  switch (item.kind) {
    case ItemKind::kBoolean:
      return "Boolean";
    case ItemKind::kInteger:
      return item.length != 0 ? "Long" : "Integer";
    case ItemKind::kDecimal:
      return "Decimal";
    case ItemKind::kString:
      return "String";
    case ItemKind::kDate:
      return "Date";
    case ItemKind::kDateTime:
      return "DateTime";
    case ItemKind::kTime:
      return "Time";
    case ItemKind::kQuantity:
      return "Quantity";
    default:
      return "Any";
  }
}

TypeName name_of_type(Machine& machine, const Item& item) {
  if (!item.is_node()) {
    return {"System", system_name(item)};
  }
  if (item.type == shapes::kNoType) {
    return {"JSON", item.at.node != nullptr && item.at.node->is_object() ? "Object" : "Value"};
  }
  const std::string_view name = machine.types()->model().info(item.type).name;
  return name.starts_with("System.") ? TypeName{"System", name.substr(7)} : TypeName{"FHIR", name};
}

void type(Call& call) {
  call.begin();
  for (const Item& item : call.input()) {
    const TypeName name = name_of_type(call.machine, item);
    call.machine.push(Item::of_type_name(call.machine.arena().make<TypeName>(name)));
  }
}

void define_variable(Call& call) {
  const auto name = call.string_argument(0);
  if (!name || name->empty()) {
    call.machine.fail("defineVariable() needs a name");
  }
  if (*name == "context" || *name == "resource" || *name == "rootResource" || *name == "sct" ||
      *name == "loinc" || *name == "ucum") {
    call.machine.fail("the variable %" + std::string(*name) + " is the language's own");
  }
  for (const Binding* binding = call.scope.bindings; binding != nullptr; binding = binding->outer) {
    if (binding->name == *name) {
      call.machine.fail("the variable %" + std::string(*name) + " is defined already");
    }
  }
  Items value = call.input();
  if (call.has_argument(1)) {
    Scope inner = call.scope;
    inner.self = call.input();
    value = call.machine.evaluated(*call.tree.args[1], inner);
  }
  const std::string_view kept_name = call.machine.arena().copy(*name);
  const Items kept = call.machine.keep(value);
  call.scope.bindings = call.machine.arena().make<Binding>(kept_name, kept, call.scope.bindings);
  call.begin();
  call.machine.push_all(call.input());
}

constexpr Function kFunctions[] = {
    {"children", 0, 0, Gives::kChildren, children},
    {"descendants", 0, 0, Gives::kChildren, descendants},
    {"not", 0, 0, Gives::kBoolean, negate},
    {"trace", 1, 2, Gives::kInput, trace, true},
    {"type", 0, 0, Gives::kUnknown, type},
    {"defineVariable", 1, 2, Gives::kInput, define_variable, true},
};

}  // namespace

std::span<const Function> tree_functions() {
  return kFunctions;
}

}  // namespace engine::fhirpath
