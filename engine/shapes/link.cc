// References between the tables: bases, types, value sets, slices.

#include <algorithm>

#include "engine/shapes/catalog_builder.h"

namespace engine::shapes {
namespace {

template <class T>
std::span<T> mutable_span(std::span<const T> items) {
  return {const_cast<T*>(items.data()), items.size()};
}

}  // namespace

void CatalogBuilder::link() {
  store_.type_roots.resize(catalog_.types_.size(), nullptr);
  catalog_.base_shapes_.resize(catalog_.types_.size(), nullptr);
  set_type_constraints();
  for (ValueSet& set : store_.value_sets) {
    set.expandable = true;
    for (ValueSetPart& part : set.parts) {
      if (part.kind == ValueSetPart::Kind::kWholeSystem) {
        part.code_system = catalog_.find_code_system(part.system);
        if (part.code_system == nullptr || !part.code_system->complete) {
          set.expandable = false;
          set.why_unknown = "the codes of a code system it names are not loaded";
        }
      } else if (part.kind == ValueSetPart::Kind::kUnknown) {
        set.expandable = false;
        set.why_unknown = part.reason;
      }
    }
  }
  for (Shape& shape : store_.shapes) {
    link_shape(shape);
  }
  SliceLinker slices(catalog_, store_);
  for (const Shape& shape : store_.shapes) {
    for (const ShapeElement& element : shape.elements) {
      if (element.slicing != nullptr) {
        slices.link(element);
      }
    }
  }
}

void CatalogBuilder::set_type_constraints() {
  const std::size_t known = catalog_.type_constraints_.size();
  catalog_.type_constraints_.resize(catalog_.types_.size());
  for (std::size_t type = known; type < catalog_.types_.size(); ++type) {
    if (const Shape* shape = catalog_.base_shapes_[type]) {
      const std::span<const ConstraintId> from = shape->root().constraints;
      auto* to = store_.arena.make_array<ConstraintId>(from.size());
      std::copy(from.begin(), from.end(), to);
      catalog_.type_constraints_[type] = {to, from.size()};
    }
  }
  for (std::size_t type = known; type < catalog_.types_.size(); ++type) {
    const TypeInfo& info = catalog_.types_.info(static_cast<TypeId>(type));
    if (info.kind == TypeKind::kBackbone && info.base != kNoType) {
      catalog_.type_constraints_[type] = catalog_.type_constraints_[info.base];
    }
  }
}

void CatalogBuilder::link_shape(Shape& shape) {
  shape.base = shape.base_canonical.empty()
                   ? nullptr
                   : catalog_.find_shape(shape.base_canonical, shape.package);
  for (ShapeElement& element : mutable_span(shape.elements)) {
    link_element(element);
  }
}

void CatalogBuilder::link_element(ShapeElement& element) {
  const std::string_view package = element.shape->package;
  for (TypeRef& type : mutable_span(element.types)) {
    link_type(element, type, package);
  }
  if (element.binding != nullptr) {
    auto* binding = const_cast<Binding*>(element.binding);
    binding->value_set = find_bound_set(binding->canonical, package);
    binding->max_value_set = find_bound_set(binding->max_canonical, package);
  }
  // Type invariants are run by type, so that none runs twice.
  const bool everywhere = !element.types.empty();
  const std::span<ConstraintId> ids = mutable_span(element.constraints);
  const auto type_has = [&](TypeId type, std::string_view key) {
    const std::span<const ConstraintId> of_type = catalog_.type_constraints(type);
    return std::any_of(of_type.begin(), of_type.end(),
                       [&](ConstraintId other) { return catalog_.constraint(other).key == key; });
  };
  const auto kept = std::remove_if(ids.begin(), ids.end(), [&](ConstraintId id) {
    const std::string_view key = catalog_.constraint(id).key;
    return everywhere && std::all_of(element.types.begin(), element.types.end(),
                                     [&](const TypeRef& type) { return type_has(type.type, key); });
  });
  element.constraints = element.constraints.first(static_cast<std::size_t>(kept - ids.begin()));
  if (element.has_children()) {
    const ShapeElement* root = store_.type_roots[element.children_type];
    auto children = std::span<const ShapeElement*>(
        const_cast<const ShapeElement**>(element.children.data()), element.children.size());
    for (std::size_t i = 0; i < children.size(); ++i) {
      if (children[i] == nullptr && root != nullptr && root != &element &&
          i < root->children.size()) {
        children[i] = root->children[i];
      }
    }
  }
}

// R4 binds value sets by its own version, "|4.0.1", also those that it publishes under another.
const ValueSet* CatalogBuilder::find_bound_set(std::string_view canonical,
                                               std::string_view package) const {
  const ValueSet* set = catalog_.find_value_set(canonical, package);
  const SplitCanonical wanted = split_canonical(canonical);
  if (set == nullptr && wanted.version == "4.0.1") {
    set = catalog_.find_value_set(wanted.url, package);
  }
  return set;
}

void CatalogBuilder::link_type(const ShapeElement& element, TypeRef& type,
                               std::string_view package) {
  if (type.type != kNoType) {
    type.inner = element.has_children() && element.children_type == type.type
                     ? &element
                     : store_.type_roots[type.type];
    if (type.inner != nullptr && !type.inner->has_children()) {
      type.inner = nullptr;
    }
    if (type.inner != &element && catalog_.types_.info(type.type).abstract &&
        catalog_.types_.info(type.type).kind == TypeKind::kResource) {
      type.inner = nullptr;
    }
  }
  for (ShapeRef& ref : mutable_span(type.profiles)) {
    ref.shape = catalog_.find_shape(ref.canonical, package);
  }
  for (ShapeRef& ref : mutable_span(type.target_profiles)) {
    ref.shape = catalog_.find_shape(ref.canonical, package);
  }
}

}  // namespace engine::shapes
