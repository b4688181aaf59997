#pragma once
// Shapes prepared for walking: what a catalog's tables say of an element, as short lists of what
// has to be looked at, so that an element nobody constrains costs one test of a flag. Plans are
// made the first time a shape is met, and kept. Thread safe.

#include <atomic>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <unordered_map>
#include <vector>

#include "engine/check/rules.h"
#include "engine/fhir/primitives.h"
#include "engine/shapes/catalog.h"

namespace engine::check {

struct ElementPlan;

// A type that an element may have.
struct TypePlan {
  const shapes::TypeRef* ref = nullptr;
  // Of ref->inner, linked when first used: types refer to each other in circles.
  mutable std::atomic<const ElementPlan*> inner{nullptr};

  TypePlan() = default;
  TypePlan(const TypePlan& other) : ref(other.ref), inner(other.inner.load()) {}
  TypePlan& operator=(const TypePlan&) = delete;
};

struct ElementPlan {
  const shapes::ShapeElement* element = nullptr;
  const ElementPlan* const* children = nullptr;  // parallel to element->children
  std::vector<TypePlan> types;                   // parallel to element->types
  std::vector<const ElementPlan*> slices;        // parallel to element->slicing->slices
  // Children (element indexes) that must be there, or whose slices must.
  std::vector<std::uint16_t> required;
  std::vector<Rule> rules;  // of the element, run on each of its values
  // Nothing is said of a value but its type, its children and its number.
  bool plain = true;
  bool binds = false;   // a binding that is more than an example
  bool sliced = false;  // by slices, or closed to whatever is none

  const ElementPlan* child(std::size_t index) const {
    return index < element->children.size() ? children[index] : nullptr;
  }
  const TypePlan* type_plan(const shapes::TypeRef* ref) const {
    return &types[static_cast<std::size_t>(ref - element->types.data())];
  }
};

// What is said of every value of a type.
struct TypeRules {
  std::vector<Rule> rules;
};

class Plans {
 public:
  Plans(const shapes::Catalog& catalog, const Rules& rules);
  ~Plans();

  const ElementPlan& of(const shapes::Shape& shape) const;
  const ElementPlan& of(const shapes::ShapeElement& element) const {
    return *(&of(*element.shape) + element.index);
  }
  // nullptr when the type's own content is not loaded or is found in the instance.
  const ElementPlan* inner(const TypePlan& type) const {
    const ElementPlan* known = type.inner.load(std::memory_order_acquire);
    return known != nullptr || type.ref->inner == nullptr ? known : link_inner(type);
  }
  const TypeRules& of(shapes::TypeId type) const {
    const TypeRules* known = type_rules_[type].load(std::memory_order_acquire);
    return known != nullptr ? *known : make_rules(type);
  }
  // The plan of a type's base shape; nullptr for nested and system types.
  const ElementPlan* base(shapes::TypeId type) const;

  // A type's class for the walk: a FHIR primitive, or one of the types it treats by name.
  std::optional<fhir::Primitive> primitive(shapes::TypeId type) const {
    const std::int8_t at = primitives_[type];
    return at < 0 ? std::nullopt : std::optional(static_cast<fhir::Primitive>(at));
  }
  bool is_system(shapes::TypeId type) const { return system_[type] != 0; }

 private:
  struct ShapePlan;
  const ShapePlan& make(const shapes::Shape& shape) const;
  const ElementPlan* link_inner(const TypePlan& type) const;
  const TypeRules& make_rules(shapes::TypeId type) const;

  const shapes::Catalog& catalog_;
  const Rules& rules_;
  std::vector<std::int8_t> primitives_;
  std::vector<std::uint8_t> system_;
  mutable std::recursive_mutex mutex_;
  mutable std::unordered_map<const shapes::Shape*, std::unique_ptr<ShapePlan>> shapes_;
  mutable std::vector<std::atomic<const ElementPlan*>> bases_;
  mutable std::vector<std::atomic<const TypeRules*>> type_rules_;
  mutable std::vector<std::unique_ptr<TypeRules>> owned_rules_;
};

}  // namespace engine::check
