#pragma once
// Which element of a shape a value of an instance stands for.

#include <string>
#include <string_view>

#include "engine/json/node.h"
#include "engine/shapes/catalog.h"

namespace engine::shapes {

// The innermost resource around a node, itself included; nullptr when there is none.
const json::Node* resource_around(const json::Node* node);

// The element of `shape`, a resource's own shape or a profile of one, that a value inside
// `resource` follows, slices left aside; the element of the value's own type ("HumanName.given")
// where the shape goes no deeper. `node` may be a value, an item of a list, or the companion of a
// primitive. nullptr when the shape is not of the resource's type or the type has no such member.
const ShapeElement* element_at(const Catalog& catalog, const Shape& shape,
                               const json::Node& resource, const json::Node& node);

// "Observation.component.code" of the id "Observation.component:systolic.code".
std::string without_slice_names(std::string_view id);

}  // namespace engine::shapes
