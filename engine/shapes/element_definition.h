#pragma once
// Elements of shapes as ElementDefinitions: what the compiled facts hold of them, in FHIR's own
// form. Words meant for people (short, definition, requirements, mappings) are not kept in the
// facts and are not there. Source: FHIR R4 elementdefinition.html.

#include <unordered_map>

#include "engine/json/document.h"
#include "engine/shapes/catalog.h"

namespace engine::shapes {

// Made when first asked for and kept. Borrows the catalog. Not thread safe.
class ElementDefinitions {
 public:
  explicit ElementDefinitions(const Catalog& catalog)
      : catalog_(catalog), document_(catalog.names()) {}

  // id, path, sliceName, slicing, min, max, type, fixed[x] or pattern[x], constraint, mustSupport,
  // isModifier, isSummary, binding, contentReference. Lives as long as this object.
  const json::Node& of(const ShapeElement& element);

 private:
  void add_slicing(json::Node* to, const Slicing& slicing);
  void add_types(json::Node* to, const ShapeElement& element);
  void add_values(json::Node* to, const ShapeElement& element);
  void add_constraints(json::Node* to, const ShapeElement& element);
  void add_binding(json::Node* to, const Binding& binding);
  void text(json::Node* to, std::string_view member, std::string_view value);

  const Catalog& catalog_;
  json::Document document_;
  std::unordered_map<const ShapeElement*, json::Node*> made_;
};

}  // namespace engine::shapes
