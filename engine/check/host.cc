#include "engine/check/host.h"

#include <string>

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

}  // namespace engine::check
