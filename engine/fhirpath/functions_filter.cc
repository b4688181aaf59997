// Filtering and projection: where, select, repeat, ofType, is, as, iif, coalesce, sort, aggregate.
// Source: FHIRPath 2.0.0, 5.2, 5.6, 6.3, 7; sort, coalesce and repeatAll from 3.0.

#include <algorithm>

#include "engine/fhirpath/function.h"

namespace engine::fhirpath {
namespace {

void where(Call& call) {
  call.begin();
  std::int64_t index = 0;
  for (const Item& item : call.input()) {
    if (call.machine.truth(call.lambda(0, item, index++)) == Truth::kTrue) {
      call.machine.push(item);
    }
  }
}

void select(Call& call) {
  call.begin();
  std::int64_t index = 0;
  for (const Item& item : call.input()) {
    // The projection's result lies just where the next push goes, so pushing it again keeps it.
    call.machine.push_all(call.lambda(0, item, index++));
  }
}

// The results are the queue of what is still to be visited. `unique` ends cycles; without it the
// bounds do.
void repeat_projection(Call& call, bool unique) {
  Machine& machine = call.machine;
  call.begin();
  const std::size_t start = machine.top();
  DistinctItems seen(machine);
  const auto visit = [&](const Item& item) {
    const Items found = call.lambda(0, item, 0);
    for (const Item& next : found) {
      const Item copy = next;
      if (!unique || seen.insert(copy)) {
        machine.push(copy);
      }
    }
  };
  for (const Item& item : call.input()) {
    visit(item);
  }
  for (std::size_t i = start; i < machine.top(); ++i) {
    visit(*machine.at(i));
  }
}

void repeat(Call& call) {
  repeat_projection(call, true);
}
void repeat_all(Call& call) {
  repeat_projection(call, false);
}

void of_type(Call& call) {
  call.begin();
  for (const Item& item : call.input()) {
    if (call.machine.is_exactly(item, *call.tree.specifier)) {
      call.machine.push(item);
    }
  }
}

void is_type(Call& call) {
  if (call.input().size() > 1) {
    call.machine.fail("is() tests one item, not " + std::to_string(call.input().size()));
  }
  if (!call.input().empty()) {
    call.give(call.machine.is_of(call.input().front(), *call.tree.specifier));
  }
}

void as_type(Call& call) {
  if (call.input().size() > 1 && !call.machine.program().as_filters) {
    call.machine.fail("as() casts one item, not " + std::to_string(call.input().size()) +
                      "; ofType() filters");
  }
  of_type(call);
}

// Only the chosen branch is evaluated.
void iif(Call& call) {
  if (call.input().size() > 1) {
    call.machine.fail("iif() chooses for one item, not for " + std::to_string(call.input().size()));
  }
  Scope inner = call.scope;
  inner.self = call.input();
  const Items criterion = call.machine.evaluated(*call.tree.args[0], inner);
  call.machine.set_current(call.tree);
  if (criterion.size() == 1 && !criterion.front().is_node() &&
      criterion.front().kind != ItemKind::kBoolean) {
    call.machine.fail("the criterion of iif() is a boolean");
  }
  const bool chosen = call.machine.truth(criterion) == Truth::kTrue;
  const std::size_t branch = chosen ? 1 : 2;
  call.begin();
  if (call.has_argument(branch)) {
    Scope scope = call.scope;
    scope.self = call.input();
    call.machine.evaluate(*call.tree.args[branch], scope);
  }
}

// The first of the arguments that gives something.
void coalesce(Call& call) {
  for (std::size_t i = 0; i < call.arguments(); ++i) {
    const Items found = call.argument(i);
    if (!found.empty()) {
      const Items kept = call.machine.keep(found);
      call.begin();
      call.machine.push_all(kept);
      return;
    }
  }
}

struct SortRow {
  Item item;
  const Item* keys;
};

// A key with a minus sign sorts downwards, whatever its type.
bool is_descending(const Tree& key) {
  return key.op == Op::kDescending || key.op == Op::kNegate;
}

Item sort_key(Call& call, const Tree& key, const Item& item, std::int64_t index) {
  Scope inner = call.scope;
  inner.self = {&item, 1};
  inner.index = index;
  const Tree& wanted = is_descending(key) ? *key.args[0] : key;
  const Item value = call.machine.single(call.machine.evaluated(wanted, inner));
  call.machine.set_current(call.tree);
  return value;
}

// Less, equal or greater by the keys; an empty key is lower than any value.
bool sorts_before(Call& call, const SortRow& a, const SortRow& b, std::size_t keys) {
  call.machine.tick();
  for (std::size_t i = 0; i < keys; ++i) {
    const bool a_empty = a.keys[i].is_nothing();
    const bool b_empty = b.keys[i].is_nothing();
    bool less = a_empty && !b_empty;
    bool greater = b_empty && !a_empty;
    if (!a_empty && !b_empty) {
      const Comparison order = compare_values(call.machine, a.keys[i], b.keys[i]);
      less = order == Comparison::kLess;
      greater = order == Comparison::kGreater;
    }
    if (i < call.arguments() && is_descending(*call.tree.args[i])) {
      std::swap(less, greater);
    }
    if (less != greater) {
      return less;
    }
  }
  return false;
}

void sort(Call& call) {
  const Items input = call.input();
  const std::size_t keys = std::max<std::size_t>(1, call.arguments());
  auto* rows = call.machine.arena().make_array<SortRow>(input.size());
  for (std::size_t i = 0; i < input.size(); ++i) {
    auto* values = call.machine.arena().make_array<Item>(keys);
    values[0] = Item();
    for (std::size_t k = 0; k < call.arguments(); ++k) {
      values[k] = sort_key(call, *call.tree.args[k], input[i], static_cast<std::int64_t>(i));
    }
    if (call.arguments() == 0) {
      values[0] = call.machine.single(input.subspan(i, 1));
    }
    rows[i] = {input[i], values};
  }
  std::stable_sort(rows, rows + input.size(), [&](const SortRow& a, const SortRow& b) {
    return sorts_before(call, a, b, keys);
  });
  call.begin();
  for (std::size_t i = 0; i < input.size(); ++i) {
    call.machine.push(rows[i].item);
  }
}

void aggregate(Call& call) {
  Items total;
  if (call.has_argument(1)) {
    total = call.machine.keep(call.argument(1));
  }
  std::int64_t index = 0;
  for (const Item& item : call.input()) {
    Scope inner = call.scope;
    inner.self = {&item, 1};
    inner.index = index++;
    inner.total = &total;
    const Items next = call.machine.evaluated(*call.tree.args[0], inner);
    total = call.machine.keep(next);
  }
  call.begin();
  call.machine.push_all(total);
}

constexpr Function kFunctions[] = {
    {"where", 1, 1, Gives::kInput, where, true},
    {"select", 1, 1, Gives::kArgument, select, true},
    {"repeat", 1, 1, Gives::kUnknown, repeat, true},
    {"repeatAll", 1, 1, Gives::kUnknown, repeat_all, true},
    {"ofType", 1, 1, Gives::kSpecifier, of_type},
    {"is", 1, 1, Gives::kBoolean, is_type},
    {"as", 1, 1, Gives::kSpecifier, as_type},
    {"iif", 2, 3, Gives::kBranches, iif, true},
    {"coalesce", 1, 255, Gives::kUnknown, coalesce},
    {"sort", 0, 255, Gives::kInput, sort, true},
    {"aggregate", 1, 2, Gives::kUnknown, aggregate, true},
};

}  // namespace

std::span<const Function> filter_functions() {
  return kFunctions;
}

}  // namespace engine::fhirpath
