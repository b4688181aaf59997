#include "engine/check/exceptions.h"

namespace engine::check {

shapes::Strength applied_strength(const shapes::Catalog& catalog,
                                  const shapes::ShapeElement& element) {
  for (const shapes::BindingException& each : catalog.binding_exceptions()) {
    if (each.element == element.id && element.binding->canonical.starts_with(each.value_set)) {
      return each.strength;
    }
  }
  return element.binding->strength;
}

}  // namespace engine::check
