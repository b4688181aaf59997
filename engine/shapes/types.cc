#include "engine/shapes/types.h"

#include <string>

namespace engine::shapes {

std::optional<TypeId> TypeModel::find(std::string_view name) const {
  if (name.starts_with("FHIR.")) {
    name.remove_prefix(5);
    const auto known = by_name_.find(name);
    if (known == by_name_.end() || infos_[known->second].kind == TypeKind::kSystem) {
      return std::nullopt;
    }
    return known->second;
  }
  if (const auto known = by_name_.find(name); known != by_name_.end()) {
    return known->second;
  }
  if (const auto known = by_name_.find("System." + std::string(name)); known != by_name_.end()) {
    return known->second;
  }
  return std::nullopt;
}

const Element* TypeModel::element(TypeId type, const json::Name* stem) const {
  for (const Element& element : infos_[type].elements) {
    if (element.stem == stem) {
      return &element;
    }
  }
  return nullptr;
}

}  // namespace engine::shapes
