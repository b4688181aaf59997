#include "engine/mapping/typing.h"

namespace engine::mapping {

using fhirpath::ValueClass;
using shapes::kNoType;
using shapes::TypeId;

bool is_open(TypeId type, const fhirpath::Types& types) {
  return type == kNoType || types.names_itself(type);
}

namespace {

// Whether a primitive's text may be read as another's. A string is tried at run time; everything
// has a text.
bool texts_agree(ValueClass value, ValueClass wanted) {
  if (value == wanted || value == ValueClass::kString || wanted == ValueClass::kString) {
    return true;
  }
  return (value == ValueClass::kInteger && wanted == ValueClass::kDecimal) ||
         (value == ValueClass::kDate && wanted == ValueClass::kDateTime);
}

bool is_single_value(ValueClass value) {
  return value != ValueClass::kComplex && value != ValueClass::kQuantity &&
         value != ValueClass::kUnknown;
}

}  // namespace

bool may_stand_for(TypeId value, TypeId wanted, const fhirpath::Types& types) {
  if (value == kNoType || wanted == kNoType || value == wanted) {
    return true;
  }
  const shapes::TypeModel& model = types.model();
  if (model.is_a(value, wanted) || model.is_a(wanted, value)) {
    return true;
  }
  const ValueClass from = types.value_class(value);
  const ValueClass to = types.value_class(wanted);
  if (is_single_value(from) && is_single_value(to)) {
    return texts_agree(from, to);
  }
  return from == ValueClass::kQuantity && to == ValueClass::kQuantity;
}

const shapes::Member* member_for(const shapes::Element& element, TypeId value,
                                 const fhirpath::Types& types) {
  const shapes::TypeModel& model = types.model();
  if (element.members.size() == 1) {
    const shapes::Member& only = element.members[0];
    return may_stand_for(value, only.type, types) ? &only : nullptr;
  }
  for (const shapes::Member& member : element.members) {
    if (member.type == value) {
      return &member;
    }
  }
  const shapes::Member* nearest = nullptr;
  for (const shapes::Member& member : element.members) {
    if (member.type != kNoType && model.is_a(value, member.type) &&
        (nearest == nullptr || model.is_a(member.type, nearest->type))) {
      nearest = &member;
    }
  }
  if (nearest != nullptr) {
    return nearest;
  }
  // A system value or a foreign primitive: first a member of the same kind of value (for a string
  // that is `string` itself, where it is among them), then one that can hold its text exactly.
  const ValueClass from = types.value_class(value);
  for (const shapes::Member& member : element.members) {
    if (types.value_class(member.type) != from || from == ValueClass::kComplex) {
      continue;
    }
    const bool plain =
        model.info(member.type).name == "string" || model.info(member.type).name == "dateTime" ||
        model.info(member.type).name == "integer" || model.info(member.type).name == "Quantity";
    if (nearest == nullptr || plain) {
      nearest = &member;
    }
  }
  if (nearest != nullptr || !is_single_value(from)) {
    return nearest;
  }
  for (const shapes::Member& member : element.members) {
    const ValueClass to = types.value_class(member.type);
    if (is_single_value(to) && to != ValueClass::kString && from != ValueClass::kString &&
        texts_agree(from, to)) {
      return &member;
    }
  }
  return nullptr;
}

}  // namespace engine::mapping
