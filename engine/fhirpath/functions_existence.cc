// Existence: empty, exists, all, allTrue ..., subsetOf, supersetOf, count, distinct, isDistinct.
// Source: FHIRPath 2.0.0, 5.1.

#include "engine/fhirpath/function.h"

namespace engine::fhirpath {
namespace {

void empty(Call& call) {
  call.give(call.input().empty());
}
void count(Call& call) {
  call.give(Item::of_integer(static_cast<std::int64_t>(call.input().size())));
}

void exists(Call& call) {
  if (!call.has_argument(0)) {
    call.give(!call.input().empty());
    return;
  }
  std::int64_t index = 0;
  for (const Item& item : call.input()) {
    if (call.machine.truth(call.lambda(0, item, index++)) == Truth::kTrue) {
      call.give(true);
      return;
    }
  }
  call.give(false);
}

void all(Call& call) {
  std::int64_t index = 0;
  for (const Item& item : call.input()) {
    if (call.machine.truth(call.lambda(0, item, index++)) != Truth::kTrue) {
      call.give(false);
      return;
    }
  }
  call.give(true);
}

bool boolean_of(Call& call, const Item& item) {
  const Item value = call.machine.value_of(item);
  if (value.kind != ItemKind::kBoolean) {
    call.machine.fail("a collection of booleans is expected");
  }
  return value.boolean;
}

// True when an item is `wanted`; looks at every item, since one that is no boolean is an error.
bool any_is(Call& call, bool wanted) {
  bool found = false;
  for (const Item& item : call.input()) {
    found |= boolean_of(call, item) == wanted;
  }
  return found;
}

void all_true(Call& call) {
  call.give(!any_is(call, false));
}
void any_true(Call& call) {
  call.give(any_is(call, true));
}
void all_false(Call& call) {
  call.give(!any_is(call, true));
}
void any_false(Call& call) {
  call.give(any_is(call, false));
}

bool is_subset(Call& call, Items part, Items whole) {
  DistinctItems known(call.machine);
  for (const Item& item : whole) {
    known.insert(item);
  }
  for (const Item& item : part) {
    if (!known.contains(item)) {
      return false;
    }
  }
  return true;
}

void subset_of(Call& call) {
  const Items other = call.argument(0);
  call.give(is_subset(call, call.input(), other));
}
void superset_of(Call& call) {
  const Items other = call.argument(0);
  call.give(is_subset(call, other, call.input()));
}

void distinct(Call& call) {
  call.begin();
  DistinctItems seen(call.machine);
  for (const Item& item : call.input()) {
    if (seen.insert(item)) {
      call.machine.push(item);
    }
  }
}

void is_distinct(Call& call) {
  DistinctItems seen(call.machine);
  for (const Item& item : call.input()) {
    if (!seen.insert(item)) {
      call.give(false);
      return;
    }
  }
  call.give(true);
}

constexpr Function kFunctions[] = {
    {"empty", 0, 0, Gives::kBoolean, empty},
    {"exists", 0, 1, Gives::kBoolean, exists, true},
    {"all", 1, 1, Gives::kBoolean, all, true},
    {"allTrue", 0, 0, Gives::kBoolean, all_true},
    {"anyTrue", 0, 0, Gives::kBoolean, any_true},
    {"allFalse", 0, 0, Gives::kBoolean, all_false},
    {"anyFalse", 0, 0, Gives::kBoolean, any_false},
    {"subsetOf", 1, 1, Gives::kBoolean, subset_of},
    {"supersetOf", 1, 1, Gives::kBoolean, superset_of},
    {"count", 0, 0, Gives::kInteger, count},
    {"distinct", 0, 0, Gives::kInput, distinct},
    {"isDistinct", 0, 0, Gives::kBoolean, is_distinct},
};

}  // namespace

std::span<const Function> existence_functions() {
  return kFunctions;
}

}  // namespace engine::fhirpath
