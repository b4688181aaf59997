#include <string>

#include "engine/json/write.h"
#include "engine/shapes/definition_set.h"

namespace engine::shapes {
namespace {

class FactMaker {
 public:
  FactMaker(const Catalog& catalog, base::Arena& texts) : catalog_(catalog), texts_(texts) {}

  ElementFacts element(const ShapeElement& from) {
    ElementFacts facts;
    facts.id = from.id;
    facts.path = path_of_id(from.id, texts_);
    facts.slice_name = from.slice_name;
    facts.min = from.min;
    facts.max = from.max;
    facts.base_max = from.base_max;
    facts.has_min = facts.has_max = true;
    facts.must_support = from.must_support;
    facts.is_modifier = from.is_modifier;
    facts.is_summary = from.is_summary;
    facts.content_reference = from.content_reference;
    if (from.content_reference.empty() && !from.is_root) {
      for (const TypeRef& type : from.types) {
        facts.types.push_back(type_fact(type));
      }
    }
    if (from.binding != nullptr) {
      facts.binding = {true, from.binding->strength, from.binding->canonical,
                       from.binding->max_canonical};
    }
    facts.fixed = value(from.fixed, from.value_type);
    facts.pattern = value(from.pattern, from.value_type);
    if (from.limits != nullptr) {
      facts.min_value = value(from.limits->min_value, from.limits->min_type);
      facts.max_value = value(from.limits->max_value, from.limits->max_type);
      facts.length_max = from.limits->length_max;
    }
    if (from.is_root) {
      add_constraints(catalog_.type_constraints(from.shape->type), facts);
    }
    add_constraints(from.constraints, facts);
    if (from.slicing != nullptr) {
      facts.slicing.present = facts.slicing.has_rules = true;
      facts.slicing.rules = from.slicing->rules;
      facts.slicing.ordered = from.slicing->ordered;
      for (const Discriminator& discriminator : from.slicing->discriminators) {
        facts.slicing.discriminators.push_back({discriminator.kind, discriminator.path});
      }
    }
    return facts;
  }

 private:
  void add_constraints(std::span<const ConstraintId> ids, ElementFacts& facts) const {
    for (const ConstraintId id : ids) {
      const Constraint& c = catalog_.constraint(id);
      facts.constraints.push_back({c.key, c.expression, c.source, c.is_error, c.best_practice});
    }
  }

  TypeFact type_fact(const TypeRef& type) const {
    TypeFact fact;
    // A nested type is written as what it derives from: BackboneElement or Element.
    const TypeInfo& info = catalog_.types().info(type.type);
    fact.code = info.kind == TypeKind::kBackbone && info.base != kNoType
                    ? catalog_.types().info(info.base).name
                    : info.name;
    for (const ShapeRef& profile : type.profiles) {
      fact.profiles.push_back(profile.canonical);
    }
    for (const ShapeRef& target : type.target_profiles) {
      fact.targets.push_back(target.canonical);
    }
    fact.aggregation = type.aggregation;
    fact.versioning = type.versioning;
    return fact;
  }

  ValueFact value(const json::Node* node, TypeId type) {
    if (node == nullptr || type == kNoType) {
      return {};
    }
    return {catalog_.types().info(type).name, copy_text(texts_, json::to_text(*node))};
  }

  const Catalog& catalog_;
  base::Arena& texts_;
};

}  // namespace

ShapeFacts facts_of(const Shape& shape, const Catalog& catalog, base::Arena& texts) {
  ShapeFacts facts;
  facts.url = shape.url;
  facts.version = shape.version;
  facts.name = shape.name;
  facts.type = catalog.types().info(shape.type).name;
  facts.kind = shape.kind;
  facts.is_profile = shape.is_profile;
  facts.is_abstract = shape.is_abstract;
  facts.is_retired = shape.is_retired;
  facts.base = shape.base_canonical;
  for (const ExtensionContext& context : shape.contexts) {
    facts.contexts.push_back({context.kind, context.expression});
  }
  facts.context_invariants.assign(shape.context_invariants.begin(), shape.context_invariants.end());
  FactMaker maker(catalog, texts);
  facts.elements.reserve(shape.elements.size());
  for (const ShapeElement& element : shape.elements) {
    facts.elements.push_back(maker.element(element));
  }
  return facts;
}

}  // namespace engine::shapes
