#pragma once
// One element of a differential laid over the element it constrains. Private to snapshot
// generation. Source: FHIR R4 ElementDefinition, profiling.html (limitations of use).

#include <string>

#include "engine/base/result.h"
#include "engine/fhir/issue.h"
#include "engine/shapes/facts.h"

namespace engine::shapes {

struct MergeContext {
  std::string where;  // "url: element id", for errors and warnings
  fhir::Issues& warnings;
  // Whether a type derives from another; both by code.
  bool (*derives)(const void* lookup, std::string_view type, std::string_view base);
  const void* lookup;
};

// Lays `over` on `element`. Errors: kInvalid naming what the profile says and what the base allows.
base::Result<void> merge_element(ElementFacts& element, const ElementFacts& over,
                                 MergeContext& context);

}  // namespace engine::shapes
