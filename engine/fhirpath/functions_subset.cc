// Subsetting and combining: single, first, last, tail, skip, take, intersect, exclude, union,
// combine. Source: FHIRPath 2.0.0, 5.3 and 5.4.

#include <algorithm>

#include "engine/fhirpath/function.h"

namespace engine::fhirpath {
namespace {

void give_range(Call& call, std::size_t from, std::size_t to) {
  call.begin();
  call.machine.push_all(call.input().subspan(from, to - from));
}

void single(Call& call) {
  if (call.input().size() > 1) {
    call.machine.fail("single() finds " + std::to_string(call.input().size()) + " items");
  }
  give_range(call, 0, call.input().size());
}

void first(Call& call) {
  if (!call.input().empty()) {
    call.give(call.input().front());
  }
}
void last(Call& call) {
  if (!call.input().empty()) {
    call.give(call.input().back());
  }
}
void tail(Call& call) {
  if (call.input().size() > 1) {
    give_range(call, 1, call.input().size());
  }
}

// The count of skip() and take(): none below zero, at most what is there. nullopt for an empty
// argument.
std::optional<std::size_t> bounded_count(Call& call) {
  const std::optional<std::int64_t> count = call.integer_argument(0);
  if (!count) {
    return std::nullopt;
  }
  const auto size = static_cast<std::int64_t>(call.input().size());
  return static_cast<std::size_t>(std::clamp<std::int64_t>(*count, 0, size));
}

void skip(Call& call) {
  if (const auto count = bounded_count(call)) {
    give_range(call, *count, call.input().size());
  }
}
void take(Call& call) {
  if (const auto count = bounded_count(call)) {
    give_range(call, 0, *count);
  }
}

void intersect(Call& call) {
  const Items other = call.argument(0);
  DistinctItems wanted(call.machine);
  for (const Item& item : other) {
    wanted.insert(item);
  }
  DistinctItems given(call.machine);
  call.begin();
  for (const Item& item : call.input()) {
    if (wanted.contains(item) && given.insert(item)) {
      call.machine.push(item);
    }
  }
}

void exclude(Call& call) {
  const Items other = call.argument(0);
  DistinctItems unwanted(call.machine);
  for (const Item& item : other) {
    unwanted.insert(item);
  }
  call.begin();
  for (const Item& item : call.input()) {
    if (!unwanted.contains(item)) {
      call.machine.push(item);
    }
  }
}

void unite(Call& call) {
  const Items other = call.argument(0);
  DistinctItems seen(call.machine);
  call.begin();
  for (const Items& part : {call.input(), other}) {
    for (const Item& item : part) {
      if (seen.insert(item)) {
        call.machine.push(item);
      }
    }
  }
}

// The order is always kept, so the second argument of 3.0 changes nothing.
void combine(Call& call) {
  const Items other = call.argument(0);
  call.begin();
  call.machine.push_all(call.input());
  call.machine.push_all(other);
}

constexpr Function kFunctions[] = {
    {"single", 0, 0, Gives::kInput, single},
    {"first", 0, 0, Gives::kInput, first, false, true},
    {"last", 0, 0, Gives::kInput, last, false, true},
    {"tail", 0, 0, Gives::kInput, tail, false, true},
    {"skip", 1, 1, Gives::kInput, skip, false, true},
    {"take", 1, 1, Gives::kInput, take, false, true},
    {"intersect", 1, 1, Gives::kInput, intersect},
    {"exclude", 1, 1, Gives::kInput, exclude},
    {"union", 1, 1, Gives::kTogether, unite},
    {"combine", 1, 2, Gives::kTogether, combine},
};

}  // namespace

std::span<const Function> subset_functions() {
  return kFunctions;
}

}  // namespace engine::fhirpath
