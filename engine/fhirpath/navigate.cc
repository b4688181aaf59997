// Machine: from a node to its children and to the System value it holds.

#include <optional>

#include "engine/fhirpath/machine.h"
#include "engine/fhirpath/temporal.h"
#include "engine/ucum/ucum.h"

namespace engine::fhirpath {
namespace {

bool starts_with_stem(std::string_view member, std::string_view stem) {
  if (!member.empty() && member.front() == '_') {
    member.remove_prefix(1);
  }
  return member.size() > stem.size() && member.starts_with(stem);
}

}  // namespace

void Machine::push_children(const Item& item, const Tree& member) {
  tick();
  if (item.kind != ItemKind::kNode) {
    if (item.kind == ItemKind::kTypeName) {
      if (member.name == "name") {
        push(Item::of_string(item.type_name->name));
      } else if (member.name == "namespace") {
        push(Item::of_string(item.type_name->space));
      }
    }
    return;
  }
  const json::Node* node = item.at.node;
  if (node == nullptr || !node->is_object()) {
    push_companion_children(item, member.member, member.name);
    return;
  }
  if (item.type == shapes::kNoType) {
    push_untyped(item, member);
    return;
  }
  const shapes::Element* element = member.element;
  if (item.type != member.type) {
    element = member.member == nullptr ? nullptr : types()->element(item.type, member.member);
  }
  if (element == nullptr) {
    return;
  }
  if (element->choice) {
    push_choice(item, *element, member);
    return;
  }
  const shapes::Member& found = element->members.front();
  const json::Node* value = nullptr;
  const json::Node* companion = nullptr;
  for (const json::Node* child = node->first; child != nullptr; child = child->next) {
    if (child->name == found.name) {
      value = child;
      if (found.companion == nullptr || companion != nullptr) {
        break;
      }
    } else if (child->name == found.companion) {
      companion = child;
    }
  }
  push_member(value, companion, found.type);
}

// The one member of a choice that is there.
void Machine::push_choice(const Item& item, const shapes::Element& element, const Tree& member) {
  const shapes::Member* found = nullptr;
  const json::Node* value = nullptr;
  const json::Node* companion = nullptr;
  for (const json::Node& child : *item.at.node) {
    if (child.name->id == json::kLocalName || !starts_with_stem(child.name->text, member.name)) {
      continue;
    }
    const shapes::Member* candidate = types()->model().member(item.type, child.name);
    if (candidate == nullptr ||
        &types()->model().info(item.type).elements[candidate->element] != &element) {
      continue;
    }
    found = candidate;
    if (child.name == candidate->companion) {
      companion = &child;
    } else {
      value = &child;
    }
  }
  if (found != nullptr) {
    push_member(value, companion, found->type);
  }
}

void Machine::push_untyped(const Item& item, const Tree& member) {
  const json::Node* value = nullptr;
  const json::Node* companion = nullptr;
  for (const json::Node& child : *item.at.node) {
    const std::string_view name = child.name->text;
    if (name == member.name) {
      value = &child;
    } else if (name.size() == member.name.size() + 1 && name.front() == '_' &&
               name.substr(1) == member.name) {
      companion = &child;
    }
  }
  push_member(value, companion, shapes::kNoType);
}

// Items of an array with their companions of the same position; a null stands for a missing value.
void Machine::push_member(const json::Node* value, const json::Node* companion,
                          shapes::TypeId type) {
  if (value == nullptr && companion == nullptr) {
    return;
  }
  const bool list =
      (value != nullptr && value->is_array()) || (value == nullptr && companion->is_array());
  if (!list) {
    if (value != nullptr && value->is_null()) {
      value = nullptr;
    }
    if (companion != nullptr && !companion->is_object()) {
      companion = nullptr;
    }
    if (value != nullptr) {
      push(node_item(value, type, companion));
    } else if (companion != nullptr) {
      push(Item::of_node(nullptr, type, companion));
    }
    return;
  }
  const json::Node* at = value != nullptr ? value->first : nullptr;
  const json::Node* beside =
      companion != nullptr && companion->is_array() ? companion->first : nullptr;
  while (at != nullptr || beside != nullptr) {
    tick();
    const json::Node* extra = beside != nullptr && beside->is_object() ? beside : nullptr;
    if (at != nullptr && !at->is_null()) {
      push(node_item(at, type, extra));
    } else if (extra != nullptr) {
      push(Item::of_node(nullptr, type, extra));
    }
    at = at != nullptr ? at->next : nullptr;
    beside = beside != nullptr ? beside->next : nullptr;
  }
}

// A primitive's id and extensions stand in its companion object.
void Machine::push_companion_children(const Item& item, const json::Name* wanted,
                                      std::string_view text) {
  const json::Node* companion = item.at.companion;
  if (companion == nullptr || (text != "extension" && text != "id")) {
    return;
  }
  const json::Node* found = wanted != nullptr ? companion->find(wanted) : companion->find(text);
  if (found == nullptr) {
    return;
  }
  const shapes::TypeId extension = types() != nullptr ? types()->extension() : shapes::kNoType;
  push_member(found, nullptr, text == "extension" ? extension : shapes::kNoType);
}

void Machine::push_all_children(const Item& item) {
  if (item.kind != ItemKind::kNode) {
    return;
  }
  const json::Node* node = item.at.node;
  if (node == nullptr || !node->is_object()) {
    push_companion_children(item, nullptr, "id");
    push_companion_children(item, nullptr, "extension");
    return;
  }
  for (const json::Node* child = node->first; child != nullptr; child = child->next) {
    tick();
    const std::string_view name = child->name->text;
    if (name == "resourceType") {
      continue;
    }
    // A companion is taken together with its value, or alone when it has none.
    const bool is_companion = !name.empty() && name.front() == '_';
    const json::Node* value = is_companion ? node->find(name.substr(1)) : child;
    if (is_companion && value != nullptr) {
      continue;
    }
    const shapes::Member* member = nullptr;
    if (item.type != shapes::kNoType) {
      member = types()->model().member(item.type, child->name);
      if (member == nullptr) {
        continue;
      }
    }
    const shapes::TypeId type = member != nullptr ? member->type : shapes::kNoType;
    const json::Node* companion = is_companion ? child : nullptr;
    if (!is_companion && (member == nullptr || member->companion != nullptr)) {
      if (member != nullptr) {
        companion = node->find(member->companion);
      } else if (!child->is_object()) {
        companion = node->find("_" + std::string(name));
      }
    }
    push_member(value, companion, type);
  }
}

Item Machine::node_value(const Item& item) {
  const json::Node* node = item.at.node;
  if (node == nullptr) {
    return {};
  }
  const ValueClass value_class = class_of(item);
  switch (value_class) {
    case ValueClass::kComplex:
      return {};
    case ValueClass::kString:
      return node->is_string() ? Item::of_string(node->text()) : Item();
    case ValueClass::kBoolean:
      return node->is_boolean() ? Item::of_boolean(node->boolean) : Item();
    case ValueClass::kQuantity:
      return quantity_value(*node);
    default:
      return text_value(value_class, *node);
  }
}

Item Machine::text_value(ValueClass value_class, const json::Node& node) {
  if (value_class == ValueClass::kUnknown) {
    if (node.is_boolean()) {
      return Item::of_boolean(node.boolean);
    }
    if (node.is_string()) {
      return Item::of_string(node.text());
    }
    if (!node.is_number()) {
      return {};
    }
    value_class = node.text().find_first_of(".eE") == std::string_view::npos ? ValueClass::kInteger
                                                                             : ValueClass::kDecimal;
  }
  if (value_class == ValueClass::kInteger || value_class == ValueClass::kDecimal) {
    if (!node.is_number()) {
      return {};
    }
    const base::Result<base::Decimal> number = base::Decimal::parse(node.text());
    if (!number) {
      return {};
    }
    const std::optional<std::int64_t> whole =
        value_class == ValueClass::kInteger ? number->to_int64() : std::nullopt;
    return whole ? Item::of_integer(*whole) : make_decimal(*number);
  }
  if (!node.is_string()) {
    return {};
  }
  std::optional<Temporal> moment;
  ItemKind kind = ItemKind::kTime;
  if (value_class == ValueClass::kTime) {
    moment = parse_time(node.text());
  } else {
    kind = value_class == ValueClass::kDate ? ItemKind::kDate : ItemKind::kDateTime;
    moment = parse_date_time(node.text());
  }
  return moment ? Item::of_temporal(kind, *moment) : Item();
}

// Only a UCUM quantity without comparator has a System value (FHIR R4 fhirpath.html); one without
// any unit is a number.
Item Machine::quantity_value(const json::Node& node) {
  const json::Node* number = node.find("value");
  if (number == nullptr || !number->is_number() || node.find("comparator") != nullptr) {
    return {};
  }
  const base::Result<base::Decimal> value = base::Decimal::parse(number->text());
  if (!value) {
    return {};
  }
  const std::string_view code = node.string_at("code");
  if (code.empty()) {
    return node.find("unit") == nullptr && node.find("system") == nullptr
               ? make_quantity({*value, "1", false})
               : Item();
  }
  if (node.string_at("system") != ucum::kSystem) {
    return {};
  }
  return make_quantity({*value, code, false});
}

}  // namespace engine::fhirpath
