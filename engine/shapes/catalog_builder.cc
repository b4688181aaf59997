#include "engine/shapes/catalog_builder.h"

#include <algorithm>
#include <utility>

#include "engine/shapes/shape_builder.h"
#include "engine/shapes/type_builder.h"

namespace engine::shapes {

using base::Error;
using base::ErrorCode;
using base::Result;

Result<void> CatalogBuilder::add_types(const std::vector<const ShapeFacts*>& shapes) {
  std::vector<const ShapeFacts*> definitions;
  for (const ShapeFacts* shape : shapes) {
    if (!shape->is_profile) {
      definitions.push_back(shape);
    }
  }
  return TypeModelBuilder(catalog_.types_, catalog_.names_, store_.arena).add(definitions);
}

Result<void> CatalogBuilder::add_facts(const std::vector<FactSet>& sets) {
  std::vector<const ShapeFacts*> shapes;
  for (const FactSet& set : sets) {
    for (const ShapeFacts& shape : set.shapes) {
      shapes.push_back(&shape);
    }
  }
  Result<void> types = add_types(shapes);
  if (!types) {
    return types;
  }
  for (const FactSet& set : sets) {
    add_package(set.package, set.dependencies);
    catalog_.binding_exceptions_.insert(catalog_.binding_exceptions_.end(), set.exceptions.begin(),
                                        set.exceptions.end());
    for (const ShapeFacts& shape : set.shapes) {
      Result<const Shape*> added = add_shape(shape, set.package);
      if (!added) {
        return std::move(added).error();
      }
    }
    for (const CodeSystemFacts& system : set.code_systems) {
      add_code_system(system, set.package);
    }
    for (const ValueSetFacts& value_set : set.value_sets) {
      add_value_set(value_set, set.package);
    }
  }
  return {};
}

void CatalogBuilder::add_package(std::string_view id,
                                 const std::vector<std::string_view>& dependencies) {
  const auto known = std::find_if(store_.packages.begin(), store_.packages.end(),
                                  [&](const Package& package) { return package.id == id; });
  if (!id.empty() && known == store_.packages.end()) {
    store_.packages.push_back({id, dependencies});
  }
}

ConstraintId CatalogBuilder::constraint_id(const ConstraintFact& fact) {
  const ConstraintKey key{fact.key, fact.expression, fact.is_error};
  const auto [at, is_new] = store_.constraint_ids.try_emplace(
      key, static_cast<ConstraintId>(catalog_.constraints_.size()));
  if (is_new) {
    catalog_.constraints_.push_back(
        {fact.key, fact.expression, fact.source, fact.is_error, fact.best_practice});
  }
  return at->second;
}

Result<const json::Node*> CatalogBuilder::value_node(const ValueFact& value) {
  const std::string_view text = value.json;
  const bool plain_string = text.size() >= 2 && text.front() == '"' && text.back() == '"' &&
                            text.find('\\') == std::string_view::npos;
  if (plain_string) {
    return static_cast<const json::Node*>(
        store_.values.make_string(text.substr(1, text.size() - 2)));
  }
  json::Document document(catalog_.names_);
  Result<void> parsed = document.parse(text);
  if (!parsed) {
    return std::move(parsed).error();
  }
  return static_cast<const json::Node*>(store_.values.copy(*document.root()));
}

Result<const Shape*> CatalogBuilder::add_shape(const ShapeFacts& facts, std::string_view package) {
  if (catalog_.constraints_.size() + 1'000 > std::size_t{0xFFFF}) {
    return Error(ErrorCode::kLimit, "more invariants than can be held", std::string(facts.url));
  }
  Shape& shape = store_.shapes.emplace_back();
  shape.package = package;
  Result<void> built = ShapeBuilder(*this, facts, shape).build();
  if (!built) {
    store_.shapes.pop_back();
    return std::move(built).error();
  }
  store_.shapes_by_url.add(shape.url, {shape.version, package, shape.is_retired, &shape});
  catalog_.shapes_.push_back(&shape);
  if (shape.is_profile) {
    return &shape;
  }
  const std::size_t types = catalog_.types_.size();
  catalog_.base_shapes_.resize(types, nullptr);
  store_.type_roots.resize(types, nullptr);
  if (catalog_.base_shapes_[shape.type] == nullptr) {
    catalog_.base_shapes_[shape.type] = &shape;
    store_.type_roots[shape.type] = &shape.root();
    for (const ShapeElement& element : shape.elements) {
      if (element.has_children() && store_.type_roots[element.children_type] == nullptr &&
          catalog_.types_.info(element.children_type).name == element.id) {
        store_.type_roots[element.children_type] = &element;
      }
    }
  }
  return &shape;
}

CodeSystem make_code_system(const CodeSystemFacts& facts) {
  CodeSystem system;
  system.url = facts.url;
  system.version = facts.version;
  system.case_sensitive = facts.case_sensitive;
  system.complete = facts.complete;
  system.codes.reserve(facts.codes.size());
  system.parent.reserve(facts.codes.size());
  std::vector<std::int32_t> open;  // the ancestors of the next code, by depth
  for (const CodeFact& fact : facts.codes) {
    const std::uint32_t index = system.codes.add(fact.code);
    open.resize(std::min<std::size_t>(open.size(), fact.depth));
    if (index == system.parent.size()) {
      system.parent.push_back(open.empty() ? -1 : open.back());
    }
    open.push_back(static_cast<std::int32_t>(index));
  }
  for (const auto& [child, parent] : facts.also_below) {
    const std::int32_t below = system.codes.find(child);
    const std::int32_t above = system.codes.find(parent);
    if (below >= 0 && above >= 0) {
      system.also_below.emplace_back(below, above);
    }
  }
  return system;
}

void CatalogBuilder::add_code_system(const CodeSystemFacts& facts, std::string_view package) {
  const CodeSystem& system = store_.code_systems.emplace_back(make_code_system(facts));
  store_.code_systems_by_url.add(system.url, {system.version, package, false, &system});
}

void CatalogBuilder::add_value_set(const ValueSetFacts& facts, std::string_view package) {
  ValueSet& set = store_.value_sets.emplace_back();
  set.url = facts.url;
  set.version = facts.version;
  for (const ValueSetFacts::Part& fact : facts.parts) {
    ValueSetPart& part = set.parts.emplace_back();
    part.kind = fact.kind;
    part.system = fact.system;
    part.reason = fact.reason;
    part.codes.reserve(fact.codes.size());
    for (const std::string_view code : fact.codes) {
      part.codes.add(code);
    }
  }
  store_.value_sets_by_url.add(set.url, {set.version, package, false, &set});
}

}  // namespace engine::shapes
