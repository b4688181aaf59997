#pragma once
// Snapshot generation: a base's snapshot and a differential give the snapshot of a definition, both
// constraints (profiles) and specializations (types, logical models). Works on facts, so a base may
// come from compiled fact files. Source: FHIR R4 profiling.html, ElementDefinition; the order of
// steps is that of the published snapshot tests.

#include <functional>
#include <string_view>

#include "engine/base/arena.h"
#include "engine/base/result.h"
#include "engine/fhir/issue.h"
#include "engine/shapes/facts.h"

namespace engine::shapes {

// The snapshot of another definition by canonical or by type name. nullptr when it is not known;
// an error when it is known but has no usable snapshot (a circle, a broken definition).
using SnapshotLookup = std::function<base::Result<const ShapeFacts*>(std::string_view canonical)>;

struct SnapshotContext {
  SnapshotLookup lookup;
  base::Arena& texts;
  fhir::Issues& warnings;  // a loosened binding, a profile that is not loaded
};

// Facts of the whole definition with its snapshot. `differential` holds the differential's elements
// in the order given. Errors: kNotFound (the base is not known), kInvalid with where = "url:
// element id" and both bounds where it contradicts the base, kLimit.
base::Result<ShapeFacts> generate_snapshot(const ShapeFacts& differential,
                                           const SnapshotContext& context);

}  // namespace engine::shapes
