#pragma once
// Builds the type model from the facts of base types, resources and logical models, and extends it
// when further ones are added. Single-threaded; nothing may read the model meanwhile.

#include <string_view>
#include <vector>

#include "engine/base/arena.h"
#include "engine/base/result.h"
#include "engine/json/names.h"
#include "engine/shapes/facts.h"
#include "engine/shapes/types.h"

namespace engine::shapes {

class TypeModelBuilder {
 public:
  TypeModelBuilder(TypeModel& model, json::NameTable& names, base::Arena& arena)
      : model_(model), names_(names), arena_(arena) {}

  // Adds the types that these definitions define (not profiles), in any order among themselves.
  // A type whose name is taken already is left as it is. Texts are borrowed. Errors: kInvalid with
  // where = element id; kLimit.
  base::Result<void> add(const std::vector<const ShapeFacts*>& definitions);

  // "value" of "value[x]"; "value" of "value".
  static std::string_view stem_of(std::string_view segment);

 private:
  struct Nested {
    TypeId type;
    const ShapeFacts* shape;
    std::size_t element;  // index of the element that opens the type
  };

  base::Result<void> declare(const ShapeFacts& definition);
  base::Result<TypeId> declare_type(std::string_view name, TypeKind kind);
  void define(const Nested& nested);
  void define_element(const ElementFacts& facts, std::size_t index, Element& element);
  TypeId member_type(const ElementFacts& facts, std::string_view code);
  void index_members(TypeId type);
  void index_ancestors();

  TypeModel& model_;
  json::NameTable& names_;
  base::Arena& arena_;
  std::vector<Nested> pending_;
  std::vector<std::pair<TypeId, std::string_view>> bases_;  // type, name of its base
};

}  // namespace engine::shapes
