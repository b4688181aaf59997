#pragma once
// Published bindings that are not applied to the letter. They are data:
// profiles/r4/exceptions.facts names each with its reason, docs/checking.md shows them to people.

#include "engine/shapes/catalog.h"

namespace engine::check {

// The strength to apply to an element that has a binding.
shapes::Strength applied_strength(const shapes::Catalog& catalog,
                                  const shapes::ShapeElement& element);

}  // namespace engine::check
