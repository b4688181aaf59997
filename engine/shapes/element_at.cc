#include "engine/shapes/element_at.h"

#include <vector>

namespace engine::shapes {
namespace {

// One step down; nullptr when nothing is known there.
const ShapeElement* step(const TypeModel& types, const ShapeElement& from, TypeId type,
                         const json::Name* name, TypeId& next) {
  const Member* member = type == kNoType ? nullptr : types.member(type, name);
  if (member == nullptr || !from.has_children() || from.children_type != type) {
    return nullptr;
  }
  next = member->type;
  return from.child(member->element);
}

// The element whose children constrain the members of a value of `type` at `element`.
const ShapeElement* inner_of(const ShapeElement& element, TypeId type) {
  if (element.is_root || element.children_type == type) {
    return &element;
  }
  for (const TypeRef& each : element.types) {
    if (each.type == type) {
      return each.inner;
    }
  }
  return nullptr;
}

}  // namespace

const json::Node* resource_around(const json::Node* node) {
  for (; node != nullptr; node = node->parent) {
    if (node->is_object() && !node->string_at("resourceType").empty()) {
      return node;
    }
  }
  return nullptr;
}

const ShapeElement* element_at(const Catalog& catalog, const Shape& shape,
                               const json::Node& resource, const json::Node& node) {
  const TypeModel& types = catalog.types();
  const auto found = types.find(resource.string_at("resourceType"));
  if (!found || !types.is_a(*found, shape.type)) {
    return nullptr;
  }
  std::vector<const json::Name*> way;
  for (const json::Node* at = &node; at != &resource; at = at->parent) {
    if (at == nullptr) {
      return nullptr;
    }
    if (at->name != nullptr) {
      way.push_back(at->name);
    }
  }
  const ShapeElement* element = &shape.root();
  TypeId type = shape.type;
  for (auto name = way.rbegin(); name != way.rend(); ++name) {
    const ShapeElement* inner = inner_of(*element, type);
    TypeId next = kNoType;
    element = inner != nullptr ? step(types, *inner, type, *name, next) : nullptr;
    if (element == nullptr) {
      return nullptr;
    }
    type = next;
  }
  return element;
}

std::string without_slice_names(std::string_view id) {
  std::string path;
  bool in_slice = false;
  for (const char c : id) {
    in_slice = c == ':' || (in_slice && c != '.');
    if (!in_slice) {
      path += c;
    }
  }
  return path;
}

}  // namespace engine::shapes
