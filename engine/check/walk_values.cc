// Walk: primitive values and what an element says of its value. Source: FHIR R4 datatypes.html,
// json.html, ElementDefinition, terminologies.html.

#include "engine/check/compare.h"
#include "engine/check/exceptions.h"
#include "engine/check/walk.h"
#include "engine/fhir/narrative.h"

namespace engine::check {

using fhir::Primitive;
using shapes::Membership;
using shapes::ShapeElement;
using shapes::TypeId;

namespace {

std::string_view kind_word(json::Kind kind) {
  switch (kind) {
    case json::Kind::kNull:
      return "null";
    case json::Kind::kBoolean:
      return "true or false without quotation marks";
    case json::Kind::kNumber:
      return "a number without quotation marks";
    case json::Kind::kString:
      return "a text in quotation marks";
    case json::Kind::kArray:
      return "an array";
    case json::Kind::kObject:
      return "an object";
  }
  return "a value";
}

}  // namespace

// null only fills a gap in an array, where the array beside it has an item.
void Walk::take_out_nulls(const json::Node*& node, const json::Node*& companion) {
  if (node != nullptr && node->is_null()) {
    const bool filler = node->name == nullptr && companion != nullptr && !companion->is_null();
    if (!filler) {
      report().add(Severity::kError, "structure", *node, [] {
        return std::string(
            "null is no value; leave the property out (in an array null only stands "
            "where the other array has an item)");
      });
    }
    node = nullptr;
  }
  if (companion != nullptr && companion->is_null()) {
    if (companion->name != nullptr) {
      report().add(Severity::kError, "structure", *companion,
                   [] { return std::string("null is no value; leave the property out"); });
    }
    companion = nullptr;
  }
}

void Walk::primitive(const json::Node* node, const json::Node* companion, TypeId type,
                     Actives actives, const json::Node& object_node) {
  if (companion != nullptr || node == nullptr || node->is_null()) {
    take_out_nulls(node, companion);
  }
  if (node != nullptr) {
    const std::optional<Primitive> known = checker_.plans.primitive(type);
    if (known) {
      lexical(*node, *known);
    } else if (!node->is_string() || node->length == 0) {
      report().add(Severity::kError, "structure", *node, [&] {
        return "found " + shown(*node) + "; a text of at least one character stands here";
      });
    } else if (node->name == words().id && &object_node == frame_->resource) {
      lexical(*node, Primitive::kId);
    }
  }
  if (companion != nullptr) {
    if (companion->is_object()) {
      if (node == nullptr && companion->count == 1 && companion->first->name == words().id) {
        report().add(
            Severity::kError, "invariant", *companion,
            [] { return std::string("an id alone is no content; give a value or an extension"); },
            "ele-1");
      }
      object(*companion, words().element, actives, true);
    } else {
      report().add(Severity::kError, "structure", *companion, [&] {
        return "found " + shown(*companion) +
               "; beside a value stands an object with its id and "
               "extensions";
      });
    }
  } else if (node != nullptr) {
    for (const Active& each : actives) {
      if (each.inner != nullptr && !each.inner->required.empty()) {
        missing(*node, {}, type, actives);
        break;
      }
    }
  }
  if (node == nullptr && companion == nullptr) {
    return;
  }
  const Subject subject{node, companion, type, {}, this};
  rules(subject, checker_.plans.of(type).rules);
  for (const Active& each : actives) {
    if (each.element->plain) {
      continue;
    }
    if (node != nullptr) {
      fixed_and_pattern(*node, *each.element->element);
      limits(*node, type, *each.element->element);
      binding(*node, type, *each.element->element);
    } else {
      without_value(*companion, *each.element->element);
    }
    rules(subject, each.element->rules);
  }
}

// A required binding wants a concept; an extension in its place gives none.
void Walk::without_value(const json::Node& companion, const ShapeElement& element) {
  if (element.binding != nullptr && element.binding->strength == shapes::Strength::kRequired) {
    report().add(Severity::kError, "code-invalid", companion, [&] {
      return "there is no code; " + std::string(element.binding->canonical) +
             " is required, and an extension does not replace a code of it";
    });
  } else if (element.fixed != nullptr || element.pattern != nullptr) {
    report().add(Severity::kError, "value", companion, [&] {
      return "there is no value; " + std::string(element.shape->url) + " asks for " +
             shown(element.fixed != nullptr ? *element.fixed : *element.pattern);
    });
  }
}

void Walk::lexical(const json::Node& node, Primitive primitive) {
  const json::Kind wanted = fhir::json_kind_of(primitive);
  if (node.kind != wanted) {
    report().add(Severity::kError, "structure", node, [&] {
      return "found " + shown(node) + (node.is_string() ? " as a text" : "") + "; " +
             std::string(fhir::name_of(primitive)) + " is " + std::string(kind_word(wanted));
    });
    return;
  }
  const char* fault = fhir::primitive_fault(primitive, node.text());
  if (fault != nullptr) {
    report().add(Severity::kError, "invalid", node, [&] {
      return "found " + shown(node) + ", which is no " + std::string(fhir::name_of(primitive)) +
             ": " + fault;
    });
    return;
  }
  if (primitive == Primitive::kXhtml) {
    narrative(node);
  } else if (primitive == Primitive::kDecimal && node.length > fhir::kDecimalDigitsKept &&
             fhir::significant_digits(node.text()) > fhir::kDecimalDigitsKept) {
    report().add(Severity::kWarning, "value", node, [] {
      return std::string("more than 18 digits; no FHIR system has to keep them");
    });
  }
}

void Walk::narrative(const json::Node& node) {
  const fhir::NarrativeReport faults = fhir::check_narrative(node.text());
  for (const fhir::NarrativeFault& fault : faults.faults) {
    const bool form = fault.rule == fhir::NarrativeRule::kForm;
    report().add(
        Severity::kError, form ? "invalid" : "invariant", node, [&] { return fault.text; },
        fault.rule == fhir::NarrativeRule::kContent ? "txt-1"
        : form                                      ? ""
                                                    : "txt-2");
  }
}

void Walk::fixed_and_pattern(const json::Node& node, const ShapeElement& element) {
  if (element.fixed != nullptr && !equals_fixed(node, *element.fixed)) {
    constexpr std::size_t kShown = 10;
    for (const Departure& each : departures(node, *element.fixed, kShown)) {
      report().add(Severity::kError, "value", *each.at,
                   [&] { return each.text + " (" + std::string(element.shape->url) + ")"; });
    }
  }
  if (element.pattern != nullptr && !matches_pattern(node, *element.pattern)) {
    report().add(Severity::kError, "value", node, [&] {
      return "found " + shown(node) + "; " + std::string(element.shape->url) + " asks for " +
             shown(*element.pattern) + " in it";
    });
  }
}

void Walk::binding(const json::Node& node, TypeId type, const ShapeElement& element) {
  const shapes::Binding* binding = element.binding;
  if (binding == nullptr) {
    return;
  }
  if (binding->strength != shapes::Strength::kExample) {
    const shapes::Strength strength = applied_strength(checker_.catalog, element);
    bound(node, type, binding->value_set, binding->canonical, strength, false);
  }
  if (!binding->max_canonical.empty()) {
    bound(node, type, binding->max_value_set, binding->max_canonical, shapes::Strength::kRequired,
          true);
  }
}

Membership Walk::member_of(const json::Node& node, TypeId type, const shapes::ValueSet& set) const {
  if (node.is_string()) {
    return set.contains_code(node.text());
  }
  if (!node.is_object()) {
    return Membership::kOut;
  }
  const auto coded = [&](const json::Node& from) {
    const json::Node* system = from.find(words().system);
    const json::Node* code = from.find(words().code);
    if (code == nullptr || !code->is_string()) {
      return Membership::kOut;
    }
    return set.contains(system != nullptr ? system->text() : std::string_view(), code->text());
  };
  if (type != words().codeable_concept) {
    return coded(node);
  }
  const json::Node* list = node.find(words().coding_name);
  Membership best = Membership::kOut;
  if (list != nullptr && list->is_array()) {
    for (const json::Node& each : *list) {
      const Membership one = coded(each);
      if (one == Membership::kIn) {
        return one;
      }
      best = one == Membership::kUnknown ? one : best;
    }
  }
  return best;
}

void Walk::bound(const json::Node& node, TypeId type, const shapes::ValueSet* set,
                 std::string_view canonical, shapes::Strength strength, bool is_max) {
  if (canonical.empty()) {
    return;
  }
  if (set == nullptr) {
    report().add(Severity::kInformation, "not-found", node, [&] {
      return "the value set " + std::string(canonical) +
             " is not loaded, so the code is not checked";
    });
    return;
  }
  const Membership membership = member_of(node, type, *set);
  if (membership == Membership::kIn) {
    return;
  }
  if (membership == Membership::kUnknown) {
    report().add(Severity::kInformation, "not-supported", node, [&] {
      return "the code is not checked against " + std::string(canonical) + ": " +
             std::string(set->why_unknown);
    });
    return;
  }
  const Severity severity = strength == shapes::Strength::kRequired     ? Severity::kError
                            : strength == shapes::Strength::kExtensible ? Severity::kWarning
                                                                        : Severity::kInformation;
  report().add(severity, "code-invalid", node, [&] {
    std::string text =
        "found " + shown(node) + ", which is not in the value set " + std::string(canonical);
    text += strength == shapes::Strength::kRequired
                ? (is_max ? " (the widest one allowed)" : " (required)")
            : strength == shapes::Strength::kExtensible
                ? " (extensible: use a code of it when one fits)"
                : " (preferred)";
    const std::vector<std::string_view> sample = set->sample(8);
    for (std::size_t i = 0; i < sample.size(); ++i) {
      text += (i == 0 ? "; allowed: " : ", ") + std::string(sample[i]);
    }
    return text + (sample.size() == 8 ? ", …" : "");
  });
}

void Walk::coding(const json::Node& node) {
  const json::Node* system = node.find(words().system);
  const json::Node* code = node.find(words().code);
  if (system == nullptr || code == nullptr || !system->is_string() || !code->is_string()) {
    return;
  }
  const shapes::CodeSystem* known = checker_.catalog.find_code_system(system->text());
  if (known != nullptr && known->complete && !known->has(code->text())) {
    report().add(Severity::kError, "code-invalid", *code, [&] {
      return "the code " + shown(*code) + " does not exist in " + std::string(known->url);
    });
  }
}

void Walk::attachment(const json::Node& node) {
  const json::Node* data = node.find(words().data);
  const json::Node* size = node.find(words().size);
  if (data == nullptr || size == nullptr || !data->is_string() || !size->is_number()) {
    return;
  }
  std::size_t characters = 0;
  std::size_t padding = 0;
  for (const char c : data->text()) {
    characters += c == ' ' || c == '\n' || c == '\r' || c == '\t' ? 0U : 1U;
    padding += c == '=' ? 1U : 0U;
  }
  if (characters % 4 != 0 || padding > 2) {
    return;  // said of the data already
  }
  const std::size_t bytes = characters / 4 * 3 - padding;
  if (size->text() != std::to_string(bytes)) {
    report().add(Severity::kError, "structure", node, [&] {
      return "size says " + std::string(size->text()) + " bytes, the data has " +
             std::to_string(bytes);
    });
  }
}

}  // namespace engine::check
