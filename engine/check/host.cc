#include "engine/check/host.h"

#include <string>

#include "engine/shapes/element_at.h"

namespace engine::check {

using fhirpath::Item;

Item WalkHost::resolve(std::string_view reference, const Item&) const {
  const Walk::Target target = walk_.resolve(reference);
  return target.resource == nullptr
             ? Item()
             : Item::of_node(target.resource, walk_.type_of_resource(*target.resource));
}

base::Result<bool> WalkHost::member_of(const Item& coded, std::string_view value_set) const {
  const shapes::ValueSet* set = walk_.checker().catalog.find_value_set(value_set);
  if (set == nullptr) {
    return base::Error(base::ErrorCode::kNotFound,
                       "the value set " + std::string(value_set) + " is not loaded");
  }
  if (coded.kind == fhirpath::ItemKind::kString) {
    return set->contains_text(coded.text()) == shapes::Membership::kIn;
  }
  if (!coded.is_node() || coded.at.node == nullptr) {
    return false;
  }
  const shapes::Membership membership = walk_.member_of(*coded.at.node, coded.type, *set);
  if (membership == shapes::Membership::kUnknown) {
    return base::Error(base::ErrorCode::kNotFound,
                       "the value set " + std::string(value_set) + " cannot be decided here");
  }
  return membership == shapes::Membership::kIn;
}

base::Result<bool> WalkHost::conforms_to(const Item& item, std::string_view profile,
                                         const fhirpath::Types*) const {
  const shapes::Shape* shape = walk_.checker().catalog.find_shape(profile);
  if (shape == nullptr) {
    return base::Error(base::ErrorCode::kNotFound,
                       "the profile " + std::string(profile) + " is not loaded");
  }
  if (!item.is_node() || !walk_.checker().types.is_a(item.type, shape->type)) {
    return false;
  }
  return walk_.conforms(item.at.node, item.at.companion, item.type,
                        walk_.checker().plans.of(*shape));
}

Item WalkHost::element_definition(const Item& item) const {
  const shapes::Catalog& catalog = walk_.checker().catalog;
  if (definitions_ == nullptr) {
    definitions_ = std::make_unique<shapes::ElementDefinitions>(catalog);
  }
  return definition_of(item, *definitions_, catalog);
}

base::Result<bool> WalkHost::in_slice(const Item& item, std::string_view profile,
                                      std::string_view slice) const {
  if (!item.is_node()) {
    return false;
  }
  return walk_.in_named_slice(item.at.node, item.at.companion, item.type, profile, slice);
}

Item definition_of(const Item& item, shapes::ElementDefinitions& definitions,
                   const shapes::Catalog& catalog) {
  if (!item.is_node()) {
    return {};
  }
  const json::Node* node = item.at.node != nullptr ? item.at.node : item.at.companion;
  const json::Node* resource = shapes::resource_around(node);
  const auto type = resource != nullptr ? catalog.types().find(resource->string_at("resourceType"))
                                        : std::nullopt;
  const shapes::Shape* shape = type ? catalog.base_shape(*type) : nullptr;
  const shapes::ShapeElement* element =
      shape != nullptr ? shapes::element_at(catalog, *shape, *resource, *node) : nullptr;
  const auto definition = catalog.types().find("ElementDefinition");
  return element != nullptr
             ? Item::of_node(&definitions.of(*element), definition.value_or(shapes::kNoType))
             : Item();
}

}  // namespace engine::check
