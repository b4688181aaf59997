#pragma once
// Which value may stand where: asked by the compiler of what it knows, and by the runner of what
// comes.

#include "engine/fhirpath/types.h"
#include "engine/shapes/types.h"

namespace engine::mapping {

// Whether a value of one type may stand where the other is asked: the same, one derived from the
// other, or two primitives whose texts agree. kNoType agrees with everything.
bool may_stand_for(shapes::TypeId value, shapes::TypeId wanted, const fhirpath::Types& types);

// The member of an element that takes a value of a type: the type itself, an ancestor, or the
// nearest primitive. nullptr when there is none.
const shapes::Member* member_for(const shapes::Element& element, shapes::TypeId value,
                                 const fhirpath::Types& types);

// True for types whose instances say their own type, or whose elements are not known.
bool is_open(shapes::TypeId type, const fhirpath::Types& types);

}  // namespace engine::mapping
