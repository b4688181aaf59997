#include "engine/check/plan.h"

namespace engine::check {

using shapes::ShapeElement;
using shapes::TypeId;

struct Plans::ShapePlan {
  std::vector<ElementPlan> elements;  // parallel to Shape::elements; never moved once linked
  std::vector<std::vector<const ElementPlan*>> children;
};

Plans::Plans(const shapes::Catalog& catalog, const Rules& rules)
    : catalog_(catalog),
      rules_(rules),
      primitives_(catalog.types().size(), -1),
      system_(catalog.types().size(), 0),
      bases_(catalog.types().size()),
      type_rules_(catalog.types().size()) {
  for (std::size_t i = 0; i < catalog.types().size(); ++i) {
    const shapes::TypeInfo& info = catalog.types().info(static_cast<TypeId>(i));
    system_[i] = info.kind == shapes::TypeKind::kSystem ? 1 : 0;
    if (info.kind == shapes::TypeKind::kPrimitive) {
      const std::optional<fhir::Primitive> primitive = fhir::primitive_named(info.name);
      primitives_[i] = primitive ? static_cast<std::int8_t>(*primitive) : std::int8_t{-1};
    }
  }
}

Plans::~Plans() = default;

namespace {

bool needs_required(const ShapeElement& child) {
  if (child.min > 0) {
    return true;
  }
  if (child.slicing != nullptr) {
    for (const shapes::Slice& slice : child.slicing->slices) {
      if (slice.element->min > 0) {
        return true;
      }
    }
  }
  return false;
}

}  // namespace

const Plans::ShapePlan& Plans::make(const shapes::Shape& shape) const {
  const std::lock_guard lock(mutex_);
  std::unique_ptr<ShapePlan>& slot = shapes_[&shape];
  if (slot != nullptr) {
    return *slot;
  }
  auto plan = std::make_unique<ShapePlan>();
  plan->elements.resize(shape.elements.size());
  plan->children.resize(shape.elements.size());
  for (std::size_t i = 0; i < shape.elements.size(); ++i) {
    const ShapeElement& element = shape.elements[i];
    ElementPlan& out = plan->elements[i];
    out.element = &element;
    for (const shapes::TypeRef& ref : element.types) {
      out.types.emplace_back().ref = &ref;
    }
    const TypeId type = element.types.size() == 1 ? element.types.front().type
                        : element.is_root         ? shape.type
                                                  : shapes::kNoType;
    out.rules = rules_.prepare(element.constraints, type);
    out.binds =
        element.binding != nullptr && (element.binding->strength != shapes::Strength::kExample ||
                                       !element.binding->max_canonical.empty());
    out.plain = out.rules.empty() && !out.binds && element.fixed == nullptr &&
                element.pattern == nullptr && element.limits == nullptr;
    out.sliced =
        element.slicing != nullptr &&
        (!element.slicing->slices.empty() || element.slicing->rules != shapes::SlicingRules::kOpen);
    for (std::size_t c = 0; c < element.children.size(); ++c) {
      if (needs_required(*element.children[c])) {
        out.required.push_back(static_cast<std::uint16_t>(c));
      }
    }
  }
  // Children may belong to another shape only where a type was not walked into; then they are
  // reached through TypePlan::inner instead.
  for (std::size_t i = 0; i < shape.elements.size(); ++i) {
    std::vector<const ElementPlan*>& list = plan->children[i];
    for (const ShapeElement* child : shape.elements[i].children) {
      list.push_back(child->shape == &shape ? &plan->elements[child->index] : nullptr);
    }
    plan->elements[i].children = list.data();
    if (shape.elements[i].slicing != nullptr) {
      for (const shapes::Slice& slice : shape.elements[i].slicing->slices) {
        plan->elements[i].slices.push_back(&plan->elements[slice.element->index]);
      }
    }
  }
  slot = std::move(plan);
  for (std::size_t i = 0; i < shape.elements.size(); ++i) {
    for (std::size_t c = 0; c < shape.elements[i].children.size(); ++c) {
      const ShapeElement& child = *shape.elements[i].children[c];
      if (child.shape != &shape) {
        const ShapePlan& other = make(*child.shape);
        shapes_[&shape]->children[i][c] = &other.elements[child.index];
      }
    }
  }
  return *shapes_[&shape];
}

const ElementPlan& Plans::of(const shapes::Shape& shape) const {
  return make(shape).elements.front();
}

const ElementPlan* Plans::link_inner(const TypePlan& type) const {
  const ElementPlan* made = &of(*type.ref->inner);
  type.inner.store(made, std::memory_order_release);
  return made;
}

const ElementPlan* Plans::base(TypeId type) const {
  if (type >= bases_.size()) {
    return nullptr;
  }
  const ElementPlan* known = bases_[type].load(std::memory_order_acquire);
  if (known == nullptr) {
    const shapes::Shape* shape = catalog_.base_shape(type);
    if (shape == nullptr) {
      return nullptr;
    }
    known = &of(*shape);
    bases_[type].store(known, std::memory_order_release);
  }
  return known;
}

const TypeRules& Plans::make_rules(TypeId type) const {
  const std::lock_guard lock(mutex_);
  auto made = std::make_unique<TypeRules>();
  made->rules = rules_.prepare(catalog_.type_constraints(type), type);
  owned_rules_.push_back(std::move(made));
  type_rules_[type].store(owned_rules_.back().get(), std::memory_order_release);
  return *owned_rules_.back();
}

}  // namespace engine::check
