#include "engine/check/exceptions.h"

namespace engine::check {
namespace {

constexpr BindingException kBindings[] = {
    {"Observation.component.value[x]", "http://hl7.org/fhir/ValueSet/ucum-vitals-common",
     shapes::Strength::kExtensible,
     "the set lists the units of the vital signs themselves; a component may be of any of eleven "
     "types and of other kinds, such as the oxygen flow in L/min that US Core requires there"},
};

}  // namespace

std::span<const BindingException> binding_exceptions() {
  return kBindings;
}

shapes::Strength excepted_strength(const shapes::ShapeElement& element,
                                   shapes::Strength published) {
  for (const BindingException& each : kBindings) {
    if (each.element == element.id && element.binding->canonical.starts_with(each.value_set)) {
      return each.strength;
    }
  }
  return published;
}

}  // namespace engine::check
