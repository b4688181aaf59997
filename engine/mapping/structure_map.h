#pragma once
// The FHIR R4 StructureMap resource, the JSON form of a map. The syntax tree is the same as that of
// mapping language text. Source: FHIR R4 StructureMap.

#include <string>

#include "engine/base/result.h"
#include "engine/json/node.h"
#include "engine/mapping/ast.h"

namespace engine::mapping {

// Also reads what R5 names differently: typed parameters of dependents. Errors: kInvalid,
// kUnsupported with where = "file /json/pointer".
base::Result<Map> read_structure_map(const json::Node& resource, const std::string& file);

// Compact JSON. What the resource cannot say in one step is said in several: a path in two targets,
// a computed argument in a target of its own. Errors: kUnsupported for constants, and for a list
// mode or a number of items on a source path of several steps.
base::Result<std::string> write_structure_map(const Map& map);

}  // namespace engine::mapping
