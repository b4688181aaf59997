#pragma once
// Reading FHIR JSON definitions into facts. Only what constrains instances is read; prose is not.
// Texts are copied into the arena given, so the JSON document may go.
// Source: FHIR R4 StructureDefinition, ElementDefinition, CodeSystem.

#include <string_view>

#include "engine/base/arena.h"
#include "engine/base/result.h"
#include "engine/json/node.h"
#include "engine/shapes/facts.h"

namespace engine::shapes {

enum class ElementList : std::uint8_t { kSnapshot, kDifferential };

// True when the definition carries that list with at least one element.
bool has_elements(const json::Node& definition, ElementList list);

// A StructureDefinition with one of its element lists. An absent list gives facts without elements.
// Errors: kInvalid with where = the element's id or the definition's url: members of a wrong JSON
// type, paths outside the root, cardinalities and codes that cannot be read; kUnsupported for a
// FHIR version other than R4; kLimit.
base::Result<ShapeFacts> read_structure(const json::Node& definition, ElementList list,
                                        base::Arena& texts);

// A CodeSystem, its concepts in depth-first order. Errors: kInvalid, kLimit.
base::Result<CodeSystemFacts> read_code_system(const json::Node& definition, base::Arena& texts);

}  // namespace engine::shapes
