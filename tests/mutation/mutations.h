#pragma once
// The kinds of wrong resource. Each says whether it applies to a site and how the resource is
// spoilt there.

#include <optional>
#include <span>
#include <string_view>

#include "tests/mutation/edits.h"

namespace mutation {

struct Mutation {
  std::string_view name;
  // nullopt: not here.
  std::optional<Edits> (*spoil)(const Site& site, const engine::shapes::Catalog& catalog);
};

std::span<const Mutation> form_mutations();  // structure and primitive values
std::span<const Mutation> rule_mutations();  // invariants, references, narrative, Bundles, profiles

}  // namespace mutation
