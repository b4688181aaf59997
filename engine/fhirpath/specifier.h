#pragma once
// Type names in is, as and ofType. Internal to the folder.

#include "engine/base/arena.h"
#include "engine/base/result.h"
#include "engine/fhirpath/program.h"

namespace engine::fhirpath {

// Reads `Patient`, `FHIR.Patient`, `System.Boolean` or `Questionnaire.item` from the tree of names
// that was parsed. An unqualified name is looked for in FHIR first, then in System. Errors:
// kNotFound with the nearest name; kInvalid when the tree is no name.
base::Result<TypeSpecifier> read_specifier(const Tree& tree, const Types* types,
                                           base::Arena& arena);

}  // namespace engine::fhirpath
