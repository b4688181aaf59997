#pragma once
// Published definitions that are not applied to the letter, each by name with its reason. The list
// is shown to people in docs/checking.md.

#include <span>
#include <string_view>

#include "engine/shapes/shape.h"

namespace engine::check {

struct BindingException {
  std::string_view element;    // ShapeElement::id
  std::string_view value_set;  // without version
  shapes::Strength strength;   // what is applied
  std::string_view reason;
};
std::span<const BindingException> binding_exceptions();

// The strength to apply to an element whose definition says `published`.
shapes::Strength excepted_strength(const shapes::ShapeElement& element, shapes::Strength published);

}  // namespace engine::check
