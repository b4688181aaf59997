#include "engine/shapes/element_definition.h"

#include <string>

#include "engine/shapes/element_at.h"

namespace engine::shapes {
namespace {

std::string_view name_of(Strength strength) {
  switch (strength) {
    case Strength::kRequired:
      return "required";
    case Strength::kExtensible:
      return "extensible";
    case Strength::kPreferred:
      return "preferred";
    case Strength::kExample:
      break;
  }
  return "example";
}

std::string_view name_of(SlicingRules rules) {
  switch (rules) {
    case SlicingRules::kClosed:
      return "closed";
    case SlicingRules::kOpenAtEnd:
      return "openAtEnd";
    case SlicingRules::kOpen:
      break;
  }
  return "open";
}

std::string_view name_of(DiscriminatorKind kind) {
  switch (kind) {
    case DiscriminatorKind::kPattern:
      return "pattern";
    case DiscriminatorKind::kExists:
      return "exists";
    case DiscriminatorKind::kType:
      return "type";
    case DiscriminatorKind::kProfile:
      return "profile";
    case DiscriminatorKind::kValue:
      break;
  }
  return "value";
}

// "fixedCode" for a type named "code".
std::string choice_name(std::string_view stem, std::string_view type) {
  std::string name(stem);
  name += type;
  char& first = name[stem.size()];
  first = static_cast<char>(first >= 'a' && first <= 'z' ? first - 'a' + 'A' : first);
  return name;
}

}  // namespace

void ElementDefinitions::text(json::Node* to, std::string_view member, std::string_view value) {
  if (!value.empty()) {
    document_.append(to, member, document_.make_string(value));
  }
}

void ElementDefinitions::add_slicing(json::Node* to, const Slicing& slicing) {
  json::Node* node = document_.make_object();
  if (!slicing.discriminators.empty()) {
    json::Node* list = document_.make_array();
    for (const Discriminator& each : slicing.discriminators) {
      json::Node* one = document_.make_object();
      text(one, "type", name_of(each.kind));
      text(one, "path", each.path);
      json::Document::append(list, one);
    }
    document_.append(node, "discriminator", list);
  }
  document_.append(node, "ordered", document_.make_boolean(slicing.ordered));
  text(node, "rules", name_of(slicing.rules));
  document_.append(to, "slicing", node);
}

void ElementDefinitions::add_types(json::Node* to, const ShapeElement& element) {
  if (element.types.empty() || !element.content_reference.empty()) {
    text(to, "contentReference", element.content_reference);
    return;
  }
  const auto canonicals = [this](json::Node* at, std::string_view member,
                                 std::span<const ShapeRef> list) {
    if (list.empty()) {
      return;
    }
    json::Node* array = document_.make_array();
    for (const ShapeRef& each : list) {
      json::Document::append(array, document_.make_string(each.canonical));
    }
    document_.append(at, member, array);
  };
  json::Node* list = document_.make_array();
  for (const TypeRef& each : element.types) {
    if (each.type == kNoType) {
      continue;
    }
    const TypeInfo& info = catalog_.types().info(each.type);
    const bool nested = info.kind == TypeKind::kBackbone && info.base != kNoType;
    const std::string_view name = nested ? catalog_.types().info(info.base).name : info.name;
    json::Node* one = document_.make_object();
    text(one, "code",
         info.kind == TypeKind::kSystem ? "http://hl7.org/fhirpath/" + std::string(name)
                                        : std::string(name));
    canonicals(one, "profile", each.profiles);
    canonicals(one, "targetProfile", each.target_profiles);
    json::Document::append(list, one);
  }
  if (list->count != 0) {
    document_.append(to, "type", list);
  }
}

void ElementDefinitions::add_values(json::Node* to, const ShapeElement& element) {
  const json::Node* value = element.fixed != nullptr ? element.fixed : element.pattern;
  if (value != nullptr && element.value_type != kNoType) {
    const std::string_view type = catalog_.types().info(element.value_type).name;
    document_.append(to, choice_name(element.fixed != nullptr ? "fixed" : "pattern", type),
                     document_.copy(*value));
  }
  const ValueLimits* limits = element.limits;
  if (limits == nullptr) {
    return;
  }
  const auto bound = [&](std::string_view stem, const json::Node* node, TypeId type) {
    if (node != nullptr && type != kNoType) {
      document_.append(to, choice_name(stem, catalog_.types().info(type).name),
                       document_.copy(*node));
    }
  };
  bound("minValue", limits->min_value, limits->min_type);
  bound("maxValue", limits->max_value, limits->max_type);
  if (limits->length_max != 0) {
    document_.append(to, "maxLength", document_.make_number(std::to_string(limits->length_max)));
  }
}

void ElementDefinitions::add_constraints(json::Node* to, const ShapeElement& element) {
  json::Node* list = document_.make_array();
  const auto add = [this, list](ConstraintId id) {
    const Constraint& constraint = catalog_.constraint(id);
    json::Node* one = document_.make_object();
    text(one, "key", constraint.key);
    text(one, "severity", constraint.is_error ? "error" : "warning");
    text(one, "expression", constraint.expression);
    text(one, "source", constraint.source);
    json::Document::append(list, one);
  };
  for (const ConstraintId id : element.constraints) {
    add(id);
  }
  // What holds of every value of its type; a choice's types have no more in common than Element.
  if (element.types.size() == 1) {
    for (const ConstraintId id : catalog_.type_constraints(element.types.front().type)) {
      add(id);
    }
  }
  if (list->count != 0) {
    document_.append(to, "constraint", list);
  }
}

void ElementDefinitions::add_binding(json::Node* to, const Binding& binding) {
  json::Node* node = document_.make_object();
  text(node, "strength", name_of(binding.strength));
  text(node, "valueSet", binding.canonical);
  document_.append(to, "binding", node);
}

const json::Node& ElementDefinitions::of(const ShapeElement& element) {
  json::Node*& made = made_[&element];
  if (made != nullptr) {
    return *made;
  }
  json::Node* node = document_.make_object();
  text(node, "id", element.id);
  text(node, "path", without_slice_names(element.id));
  text(node, "sliceName", element.slice_name);
  if (element.slicing != nullptr) {
    add_slicing(node, *element.slicing);
  }
  document_.append(node, "min", document_.make_number(std::to_string(element.min)));
  text(node, "max", element.max == kUnbounded ? "*" : std::to_string(element.max));
  add_types(node, element);
  add_values(node, element);
  add_constraints(node, element);
  const auto flag = [&](std::string_view member, bool value) {
    if (value) {
      document_.append(node, member, document_.make_boolean(true));
    }
  };
  flag("mustSupport", element.must_support);
  flag("isModifier", element.is_modifier);
  flag("isSummary", element.is_summary);
  if (element.binding != nullptr) {
    add_binding(node, *element.binding);
  }
  made = node;
  return *node;
}

}  // namespace engine::shapes
