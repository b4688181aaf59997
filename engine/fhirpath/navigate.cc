// Machine: from a node to its children and to the System value it holds.

#include <optional>

#include "engine/fhirpath/machine.h"
#include "engine/fhirpath/temporal.h"
#include "engine/ucum/ucum.h"

namespace engine::fhirpath {
namespace {

// Most numbers of a document are short and plain; those are read without 128-bit arithmetic.
std::optional<base::Decimal> read_number(std::string_view text) {
  constexpr std::size_t kShort = 18;
  if (text.size() <= kShort) {
    std::int64_t coefficient = 0;
    int scale = 0;
    bool point = false;
    const bool negative = text.starts_with('-');
    bool plain = true;
    for (const char c : text.substr(negative ? 1 : 0)) {
      if (c >= '0' && c <= '9') {
        coefficient = coefficient * 10 + (c - '0');
        scale += point ? 1 : 0;
      } else if (c == '.') {
        point = true;
      } else {
        plain = false;
      }
    }
    if (plain) {
      return base::Decimal(negative ? -coefficient : coefficient, -scale);
    }
  }
  const base::Result<base::Decimal> number = base::Decimal::parse(text);
  return number ? std::optional(*number) : std::nullopt;
}

}  // namespace

// The item may lie in the slot that the first child is written to, so its fields are read first.
void Machine::push_children(const Item& item, const Tree& member) {
  tick();
  if (item.kind != ItemKind::kNode) {
    if (item.kind == ItemKind::kTypeName) {
      const TypeName& named = *item.type_name;
      if (member.name == "name") {
        push(Item::of_string(named.name));
      } else if (member.name == "namespace") {
        push(Item::of_string(named.space));
      }
    }
    return;
  }
  const json::Node* node = item.at.node;
  const shapes::TypeId type = item.type;
  if (node == nullptr || !node->is_object()) {
    push_companion_children(item.at.companion, member.member, member.name);
    return;
  }
  if (type == shapes::kNoType) {
    push_untyped(*node, member);
    return;
  }
  const shapes::Element* element = member.element;
  if (type != member.type) {
    element = member.member == nullptr ? nullptr : types()->element(type, member.member);
  }
  if (element == nullptr) {
    return;
  }
  if (element->choice) {
    push_choice(*node, type, *element,
                type == member.type ? member.choice_mask : ~std::uint64_t{0});
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
void Machine::push_choice(const json::Node& object, shapes::TypeId type,
                          const shapes::Element& element, std::uint64_t mask) {
  const shapes::TypeModel& model = types()->model();
  const auto index = static_cast<std::size_t>(&element - model.info(type).elements.data());
  const shapes::Member* found = nullptr;
  const json::Node* value = nullptr;
  const json::Node* companion = nullptr;
  for (const json::Node* child = object.first; child != nullptr; child = child->next) {
    if ((mask >> (child->name->id % 64) & 1) == 0) {
      continue;
    }
    const shapes::Member* candidate = model.member(type, child->name);
    if (candidate == nullptr || candidate->element != index) {
      continue;
    }
    found = candidate;
    if (child->name == candidate->companion) {
      companion = child;
    } else {
      value = child;
      if (candidate->companion == nullptr) {
        break;
      }
    }
  }
  if (found != nullptr) {
    push_member(value, companion, found->type);
  }
}

void Machine::push_untyped(const json::Node& object, const Tree& member) {
  const json::Node* value = nullptr;
  const json::Node* companion = nullptr;
  for (const json::Node& child : object) {
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

// A resource has the type that it names.
void Machine::push_resource(const json::Node* node, shapes::TypeId declared) {
  const std::string_view named = types()->named_type(*node);
  if (named.empty()) {
    push_node(node, declared, nullptr);
    return;
  }
  if (named != last_resource_type_) {
    last_resource_type_ = named;
    last_resource_ = types()->resource_type(*node);
  }
  push_node(node, last_resource_ != shapes::kNoType ? last_resource_ : declared, nullptr);
}

// Items of an array with their companions of the same position; a null stands for a missing value.
void Machine::push_member(const json::Node* value, const json::Node* companion,
                          shapes::TypeId type) {
  if (value == nullptr && companion == nullptr) {
    return;
  }
  const bool is_resource = types() != nullptr && types()->names_itself(type);
  const bool list =
      (value != nullptr && value->is_array()) || (value == nullptr && companion->is_array());
  if (!list) {
    if (value != nullptr && value->is_null()) {
      value = nullptr;
    }
    if (companion != nullptr && !companion->is_object()) {
      companion = nullptr;
    }
    if (value == nullptr && companion == nullptr) {
      return;
    }
    if (value != nullptr && is_resource) {
      push_resource(value, type);
    } else {
      push_node(value, type, companion);
    }
    return;
  }
  const json::Node* at = value != nullptr ? value->first : nullptr;
  const json::Node* beside =
      companion != nullptr && companion->is_array() ? companion->first : nullptr;
  while (at != nullptr || beside != nullptr) {
    tick();
    const json::Node* extra = beside != nullptr && beside->is_object() ? beside : nullptr;
    const json::Node* item = at != nullptr && !at->is_null() ? at : nullptr;
    if (item != nullptr && is_resource) {
      push_resource(item, type);
    } else if (item != nullptr || extra != nullptr) {
      push_node(item, type, extra);
    }
    at = at != nullptr ? at->next : nullptr;
    beside = beside != nullptr ? beside->next : nullptr;
  }
}

// A primitive's id and extensions stand in its companion object.
void Machine::push_companion_children(const json::Node* companion, const json::Name* wanted,
                                      std::string_view text) {
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
    push_companion_children(item.at.companion, nullptr, "id");
    push_companion_children(item.at.companion, nullptr, "extension");
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
    const std::optional<base::Decimal> number = read_number(node.text());
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
  const std::optional<base::Decimal> value = read_number(number->text());
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
