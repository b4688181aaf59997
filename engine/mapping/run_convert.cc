// What a value becomes under an element of a type: copies, and texts that are checked against the
// type's lexical rules. Source: FHIR R4 datatypes (primitives); mapping language, copy and cast.

#include "engine/fhir/primitives.h"
#include "engine/json/write.h"
#include "engine/mapping/runner.h"
#include "engine/mapping/typing.h"

namespace engine::mapping {

using base::ErrorCode;
using fhirpath::Item;
using fhirpath::ItemKind;
using fhirpath::ValueClass;
using shapes::kNoType;
using shapes::TypeId;

// The text of a primitive item, of the document or kept until the next call; nullopt when it is an
// object or nothing.
std::optional<std::string_view> Runner::text_of(const Item& item) {
  switch (item.kind) {
    case ItemKind::kNothing:
    case ItemKind::kTypeName:
    case ItemKind::kQuantity:
      return std::nullopt;
    case ItemKind::kString:
      return item.text();
    case ItemKind::kNode:
      if (item.at.node == nullptr || item.at.node->is_object() || item.at.node->is_array()) {
        return std::nullopt;
      }
      if (item.at.node->is_boolean()) {
        return item.at.node->boolean ? "true" : "false";
      }
      return item.at.node->text();
    default:
      return keep_text(fhirpath::to_text(item)).text();
  }
}

namespace {

// The elements under a node, as the JSON text nests them.
std::size_t elements_in(const json::Node& node) {
  std::size_t count = node.count;
  for (const json::Node& child : node) {
    count += elements_in(child);
  }
  return count;
}

std::string pointer_text(const Item& item) {
  if (item.is_node() && item.at.node != nullptr) {
    return " (from " + json::pointer_of(*item.at.node) + ")";
  }
  return {};
}

}  // namespace

// A text as a value of a primitive type; `check` asks whether it may be one. An empty text is no
// value.
bool Runner::convert_text(std::string_view text, TypeId wanted, bool check, Place place,
                          json::Node*& node) {
  json::Document& document = tree_.document();
  if (text.empty()) {
    return true;
  }
  const ValueClass kind = types_.value_class(wanted);
  if (check) {
    const std::optional<fhir::Primitive> primitive = program_.primitives[wanted];
    const char* fault = primitive ? fhir::primitive_fault(*primitive, text) : nullptr;
    if (fault != nullptr) {
      return fail(place, "the value is no " + std::string(type_name(wanted)) + ": " + fault);
    }
  }
  switch (kind) {
    case ValueClass::kBoolean:
      node = document.make_boolean(text == "true");
      return true;
    case ValueClass::kInteger:
    case ValueClass::kDecimal:
      node = document.make_number(text);
      return true;
    default:
      node = document.make_string(text);
      return true;
  }
}

// A copy of an object of the source or the output. What is in it counts as output, too.
json::Node* Runner::copy_of(const json::Node& node) {
  return count_output(elements_in(node)) ? tree_.document().copy(node) : nullptr;
}

bool Runner::convert(const Made& made, TypeId wanted, Place place, json::Node*& node,
                     json::Node*& companion) {
  json::Document& document = tree_.document();
  if (made.fresh != nullptr) {
    if (!may_stand_for(made.type, wanted, types_)) {
      return fail(place, "a " + std::string(type_name(made.type)) + " does not go where a " +
                             std::string(type_name(wanted)) + " is asked");
    }
    node = made.fresh;
    return true;
  }
  const Item& item = made.item;
  const TypeId type = item_type(item);
  const ValueClass kind = types_.value_class(wanted);
  if (!may_stand_for(type, wanted, types_)) {
    return fail(place, "a " + std::string(type_name(type)) + " does not go where a " +
                           std::string(type_name(wanted)) + " is asked" + pointer_text(item));
  }
  const bool single =
      kind != ValueClass::kComplex && kind != ValueClass::kQuantity && kind != ValueClass::kUnknown;
  if (!single) {
    if (item.kind == ItemKind::kQuantity) {
      node = fhirpath::to_json(item, document);
      return true;
    }
    if (!item.is_node() || item.at.node == nullptr || !item.at.node->is_object()) {
      return fail(place, "a single value does not go where a " + std::string(type_name(wanted)) +
                             " is asked" + pointer_text(item));
    }
    node = copy_of(*item.at.node);
    return node != nullptr;
  }
  if (item.is_node() && item.at.companion != nullptr) {
    companion = copy_of(*item.at.companion);
    if (companion == nullptr) {
      return false;
    }
  }
  if (item.is_node() && item.at.node == nullptr) {
    return true;
  }
  if (item.is_node() && (item.at.node->is_string() || item.at.node->is_number())) {
    return convert_text(item.at.node->text(), wanted, type != wanted, place, node);
  }
  if (item.kind == ItemKind::kString) {
    return convert_text(item.text(), wanted, true, place, node);
  }
  const std::optional<std::string_view> text = text_of(item);
  if (!text) {
    return fail(place, "an object does not go where a " + std::string(type_name(wanted)) +
                           " is asked" + pointer_text(item));
  }
  return convert_text(*text, wanted, true, place, node);
}

}  // namespace engine::mapping
