// The transforms that build a datatype: cc, c, qty, id, cp.
// Source: FHIR R4 mapping language; datatypes.

#include <utility>

#include "engine/base/decimal.h"
#include "engine/mapping/runner.h"

namespace engine::mapping {

using base::Decimal;
using base::Result;
using shapes::kNoType;
using shapes::TypeId;

json::Node* Runner::make_coding(std::string_view system, std::string_view code,
                                std::string_view display) {
  json::Node* coding = tree_.document().make_object();
  put(*coding, program_.names.system, system);
  put(*coding, program_.names.code, code);
  put(*coding, program_.names.display, display);
  return coding;
}

json::Node* Runner::make_concept(std::string_view system, std::string_view code,
                                 std::string_view display) {
  json::Document& document = tree_.document();
  json::Node* made = document.make_object();
  json::Node* list = document.make_array();
  json::Document::append(list, make_coding(system, code, display));
  json::Document::append(made, program_.names.coding, list);
  return made;
}

namespace {

constexpr std::string_view kUcum = "http://unitsofmeasure.org";
constexpr std::string_view kIdentifierTypes = "http://terminology.hl7.org/CodeSystem/v2-0203";

// "<=5.5 mg" taken apart.
struct QuantityText {
  std::string_view comparator;
  std::string_view value;
  std::string_view unit;
};

QuantityText split_quantity(std::string_view text) {
  QuantityText parts;
  for (const std::string_view sign : {"<=", ">=", "<", ">"}) {
    if (text.substr(0, sign.size()) == sign) {
      parts.comparator = sign;
      text.remove_prefix(sign.size());
      break;
    }
  }
  while (!text.empty() && text.front() == ' ') {
    text.remove_prefix(1);
  }
  const std::size_t end = text.find_first_not_of("+-.0123456789eE");
  parts.value = text.substr(0, end);
  text.remove_prefix(parts.value.size());
  // "5e" of "5 each" cannot be a number's exponent.
  while (!parts.value.empty() && (parts.value.back() == 'e' || parts.value.back() == 'E')) {
    parts.value.remove_suffix(1);
    text = std::string_view(text.data() - 1, text.size() + 1);
  }
  while (!text.empty() && text.front() == ' ') {
    text.remove_prefix(1);
  }
  parts.unit = text;
  return parts;
}

std::string_view contact_system(std::string_view value) {
  if (value.find('@') != std::string_view::npos) {
    return "email";
  }
  if (value.substr(0, 4) == "http") {
    return "url";
  }
  const bool phone =
      !value.empty() && (value.front() == '+' || (value.front() >= '0' && value.front() <= '9'));
  return phone ? "phone" : "other";
}

}  // namespace

// qty(text), or qty(value, unit [, system, code]).
bool Runner::make_quantity(const CompiledTarget& target, json::Node& node) {
  const auto& values = texts_;
  const TransformNames& names = program_.names;
  json::Document& document = tree_.document();
  const std::string_view number = values[0].value_or("");
  if (values.size() == 1) {
    const QuantityText parts = split_quantity(number);
    if (!Decimal::parse(parts.value)) {
      return fail(target.place, "the text is no quantity: a number and a unit are expected");
    }
    const std::string_view value = parts.value.substr(parts.value.front() == '+' ? 1 : 0);
    json::Document::append(&node, names.value, document.make_number(value));
    put(node, names.comparator, parts.comparator);
    put(node, names.unit, parts.unit);
    return true;
  }
  if (!Decimal::parse(number) || number.front() == '+') {
    return fail(target.place, "the value of a quantity is a number");
  }
  json::Document::append(&node, names.value, document.make_number(number));
  put(node, names.unit, values[1].value_or(""));
  const std::string_view code = values.size() > 3 ? values[3].value_or("") : std::string_view();
  const std::string_view system = values.size() > 2 ? values[2].value_or("") : std::string_view();
  put(node, names.system, system.empty() && !code.empty() ? kUcum : system);
  put(node, names.code, code);
  return true;
}

bool Runner::make_structure(const CompiledTarget& target, std::vector<Made>& out) {
  if (!collect_texts(target)) {
    return false;
  }
  const auto& values = texts_;
  const TransformNames& names = program_.names;
  const auto text = [&values](std::size_t i) {
    return i < values.size() ? values[i].value_or("") : std::string_view();
  };
  // The argument that carries the value decides: without it nothing is made.
  const bool last_is_value = target.transform == TransformKind::kContactPoint ||
                             target.transform == TransformKind::kIdentifier;
  const bool one = values.size() == 1 || target.transform == TransformKind::kQuantity;
  const std::size_t deciding = one ? 0 : 1;
  if (!values[deciding] || (last_is_value && text(deciding).empty())) {
    return true;
  }
  json::Node* node = tree_.document().make_object();
  TypeId type = kNoType;
  switch (target.transform) {
    case TransformKind::kCodeableConcept:
      type = concept_type_;
      if (values.size() == 1) {
        put(*node, names.text, text(0));
      } else {
        node = make_concept(text(0), text(1), text(2));
      }
      break;
    case TransformKind::kCoding:
      type = coding_type_;
      node = make_coding(text(0), text(1), text(2));
      break;
    case TransformKind::kQuantity:
      type = quantity_type_;
      if (!make_quantity(target, *node)) {
        return false;
      }
      break;
    case TransformKind::kIdentifier:
      type = identifier_type_;
      if (!text(2).empty()) {
        json::Document::append(node, names.type, make_concept(kIdentifierTypes, text(2), {}));
      }
      put(*node, names.system, text(0));
      put(*node, names.value, text(1));
      break;
    default:
      type = contact_point_type_;
      put(*node, names.system, one ? contact_system(text(0)) : *values[0]);
      put(*node, names.value, text(deciding));
  }
  out.push_back({{}, node, type});
  return true;
}

}  // namespace engine::mapping
