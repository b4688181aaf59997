#pragma once
// Mapping language text to syntax tree: the R4, R5 and current dialects. FHIRPath is cut out as
// text; it is parsed when the map is compiled. Source: the published grammars of the three
// dialects.

#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/mapping/ast.h"

namespace engine::mapping {

// Errors: kInvalid with where = "file:line:column" and what was expected there, kLimit for nesting
// over limits::kMapNestingMax.
base::Result<Map> parse_map(std::string_view text, std::string file);

}  // namespace engine::mapping
