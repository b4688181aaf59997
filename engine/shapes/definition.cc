#include "engine/shapes/definition.h"

#include <algorithm>
#include <cctype>
#include <string>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/json/write.h"
#include "engine/shapes/words.h"

namespace engine::shapes {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

constexpr std::string_view kMaxValueSetUrl =
    "http://hl7.org/fhir/StructureDefinition/elementdefinition-maxValueSet";
constexpr std::string_view kBestPracticeUrl =
    "http://hl7.org/fhir/StructureDefinition/elementdefinition-bestpractice";
constexpr std::string_view kSystemTypePrefix = "http://hl7.org/fhirpath/";

// The FHIR type behind "fixedUri", "patternCodeableConcept": primitives begin in lower case.
constexpr std::string_view kPrimitives[] = {
    "base64Binary", "boolean",     "canonical", "code",     "date", "dateTime",    "decimal",
    "id",           "instant",     "integer",   "markdown", "oid",  "positiveInt", "string",
    "time",         "unsignedInt", "uri",       "url",      "uuid"};

bool has_space(std::string_view text) {
  return std::any_of(text.begin(), text.end(),
                     [](unsigned char c) { return std::isspace(c) != 0; });
}

bool boolean_at(const json::Node& node, std::string_view name) {
  const json::Node* member = node.find(name);
  return member != nullptr && member->is_boolean() && member->boolean;
}

// The extension of an element by url; nullptr when it has none.
const json::Node* extension_of(const json::Node& node, std::string_view url) {
  const json::Node* extensions = node.find("extension");
  if (extensions != nullptr && extensions->is_array()) {
    for (const json::Node& extension : *extensions) {
      if (extension.string_at("url") == url) {
        return &extension;
      }
    }
  }
  return nullptr;
}

class StructureReader {
 public:
  explicit StructureReader(base::Arena& texts) : texts_(texts) {}

  Result<ShapeFacts> read(const json::Node& definition, ElementList list) {
    Result<void> head = read_head(definition);
    if (!head) {
      return std::move(head).error();
    }
    const json::Node* view =
        definition.find(list == ElementList::kSnapshot ? "snapshot" : "differential");
    const json::Node* elements = view != nullptr ? view->find("element") : nullptr;
    if (elements == nullptr || !elements->is_array()) {
      return std::move(shape_);
    }
    if (elements->count > base::limits::kShapeElementsMax) {
      return Error(ErrorCode::kLimit, "the definition has more elements than can be compiled",
                   std::string(shape_.url));
    }
    shape_.elements.reserve(elements->count);
    for (const json::Node& node : *elements) {
      Result<void> read = read_element(node);
      if (!read) {
        return std::move(read).error();
      }
    }
    return std::move(shape_);
  }

 private:
  std::string_view copy(std::string_view text) {
    return text.empty() ? std::string_view() : copy_text(texts_, text);
  }
  std::string_view text_at(const json::Node& node, std::string_view name) {
    return copy(node.string_at(name));
  }
  Error wrong(std::string what, std::string_view where) const {
    return {ErrorCode::kInvalid, std::move(what), std::string(where.empty() ? shape_.url : where)};
  }

  Result<void> read_head(const json::Node& definition) {
    shape_.url = text_at(definition, "url");
    shape_.version = text_at(definition, "version");
    shape_.name = text_at(definition, "name");
    if (shape_.url.empty() || has_space(shape_.url) || has_space(shape_.version)) {
      return wrong("a StructureDefinition needs a url without spaces", definition.string_at("id"));
    }
    const std::string_view fhir_version = definition.string_at("fhirVersion");
    if (!fhir_version.empty() && !fhir_version.starts_with("4.0")) {
      return Error(ErrorCode::kUnsupported,
                   "the definition is for FHIR " + std::string(fhir_version) +
                       "; this engine reads definitions for FHIR 4.0",
                   std::string(shape_.url));
    }
    const auto kind = meaning_of(kKindWords, definition.string_at("kind"));
    if (!kind) {
      return wrong("kind must be primitive-type, complex-type, resource or logical", {});
    }
    shape_.kind = *kind;
    const std::string_view type = definition.string_at("type");
    shape_.type = copy(type.substr(type.rfind('/') + 1));
    if (shape_.type.empty() || has_space(shape_.type)) {
      return wrong("a StructureDefinition needs a type", {});
    }
    shape_.is_profile = definition.string_at("derivation") == "constraint";
    shape_.is_abstract = boolean_at(definition, "abstract");
    shape_.is_retired = definition.string_at("status") == "retired";
    shape_.base = text_at(definition, "baseDefinition");
    if (has_space(shape_.base)) {
      return wrong("baseDefinition is a canonical, without spaces", {});
    }
    return read_contexts(definition);
  }

  Result<void> read_contexts(const json::Node& definition) {
    if (const json::Node* contexts = definition.find("context"); contexts != nullptr) {
      for (const json::Node& context : *contexts) {
        const auto kind = meaning_of(kContextWords, context.string_at("type"));
        if (!kind) {
          return wrong("context.type must be fhirpath, element or extension", {});
        }
        shape_.contexts.push_back({*kind, text_at(context, "expression")});
      }
    }
    if (const json::Node* invariants = definition.find("contextInvariant")) {
      for (const json::Node& invariant : *invariants) {
        shape_.context_invariants.push_back(copy(invariant.text()));
      }
    }
    return {};
  }

  // Ids are optional in old packages: then a slice lasts until an element of the same or a shorter
  // path ends it.
  std::string_view id_of(const json::Node& node, std::string_view path,
                         std::string_view slice_name) {
    std::string id;
    std::size_t from = 0;
    while (from <= path.size()) {
      const std::size_t dot = std::min(path.find('.', from), path.size());
      const std::string_view prefix = path.substr(0, dot);
      id += path.substr(from == 0 ? 0 : from - 1, dot - (from == 0 ? 0 : from - 1));
      if (dot == path.size()) {
        break;
      }
      for (const auto& [open_path, name] : open_slices_) {
        if (open_path == prefix) {
          id += ":" + std::string(name);
        }
      }
      from = dot + 1;
    }
    std::erase_if(open_slices_, [&](const auto& open) {
      return open.first == path ||
             (open.first.size() > path.size() || !path.starts_with(open.first) ||
              path[open.first.size()] != '.');
    });
    if (!slice_name.empty()) {
      id += ":" + std::string(slice_name);
      open_slices_.emplace_back(path, slice_name);
    }
    const std::string_view published = node.string_at("id");
    if (!published.empty() && !has_space(published) && path_of_id(published, texts_) == path &&
        slice_name_of_id(published) == slice_name) {
      return copy(published);
    }
    return copy_text(texts_, id);
  }

  Result<void> read_element(const json::Node& node) {
    if (!node.is_object()) {
      return wrong("every item of the element list is an object", {});
    }
    ElementFacts element;
    element.path = text_at(node, "path");
    element.slice_name = text_at(node, "sliceName");
    const std::string_view root = element.path.substr(0, element.path.find('.'));
    if (element.path.empty() || has_space(element.path) || has_space(element.slice_name) ||
        element.path.find(':') != std::string_view::npos || element.path.back() == '.' ||
        element.path.find("..") != std::string_view::npos) {
      return wrong("the element has no usable path or slice name", node.string_at("id"));
    }
    if (shape_.kind == TypeKind::kLogical && shape_.elements.empty()) {
      shape_.type = root;
    }
    if (root != shape_.type) {
      return wrong("the path does not begin with the type " + std::string(shape_.type),
                   element.path);
    }
    element.id = id_of(node, element.path, element.slice_name);
    for (Result<void> step : {read_bounds(node, element), read_types(node, element),
                              read_values(node, element), read_binding(node, element),
                              read_constraints(node, element), read_slicing(node, element)}) {
      if (!step) {
        return std::move(step).error();
      }
    }
    shape_.elements.push_back(std::move(element));
    return {};
  }

  Result<void> read_bounds(const json::Node& node, ElementFacts& element) {
    if (const json::Node* min = node.find("min")) {
      const auto bound = min->is_number() ? bound_of(min->text()) : std::nullopt;
      if (!bound || *bound == kUnbounded) {
        return wrong("min must be a whole number", element.id);
      }
      element.min = *bound;
      element.has_min = true;
    }
    if (const json::Node* max = node.find("max")) {
      const auto bound = max->is_string() ? bound_of(max->text()) : std::nullopt;
      if (!bound) {
        return wrong("max must be a whole number or *", element.id);
      }
      element.max = *bound;
      element.has_max = true;
    }
    element.base_max = element.max;
    if (const json::Node* base = node.find("base")) {
      element.base_max = bound_of(base->string_at("max")).value_or(element.max);
    }
    element.must_support = boolean_at(node, "mustSupport");
    element.has_must_support = node.find("mustSupport") != nullptr;
    element.is_modifier = boolean_at(node, "isModifier");
    element.has_is_modifier = node.find("isModifier") != nullptr;
    element.is_summary = boolean_at(node, "isSummary");
    element.content_reference = text_at(node, "contentReference");
    element.content_reference = element.content_reference.substr(
        element.content_reference.find('#') == std::string_view::npos
            ? 0
            : element.content_reference.find('#'));
    if (has_space(element.content_reference)) {
      return wrong("contentReference is a uri, without spaces", element.id);
    }
    return {};
  }

  std::string_view type_code(std::string_view code) {
    if (code.starts_with(kSystemTypePrefix)) {
      code.remove_prefix(kSystemTypePrefix.size());
    } else if (code.starts_with(kStructurePrefix)) {
      code.remove_prefix(kStructurePrefix.size());
    }
    return copy(code);
  }

  void read_canonicals(const json::Node& type, std::string_view name,
                       std::vector<std::string_view>& out) {
    if (const json::Node* list = type.find(name); list != nullptr && list->is_array()) {
      for (const json::Node& item : *list) {
        if (item.is_string() && !has_space(item.text())) {
          out.push_back(copy(item.text()));
        }
      }
    }
  }

  Result<void> read_types(const json::Node& node, ElementFacts& element) {
    const json::Node* types = node.find("type");
    if (types == nullptr) {
      return {};
    }
    for (const json::Node& item : *types) {
      TypeFact type;
      type.code = type_code(item.string_at("code"));
      if (type.code.empty() && item.find("_code") != nullptr) {
        type.code = "System.String";  // old definitions give such types by extensions alone
      }
      if (type.code.empty() || has_space(type.code)) {
        return wrong("every type needs a code", element.id);
      }
      read_canonicals(item, "profile", type.profiles);
      read_canonicals(item, "targetProfile", type.targets);
      if (const json::Node* aggregation = item.find("aggregation")) {
        for (const json::Node& word : *aggregation) {
          const auto bit = meaning_of(kAggregationWords, word.text());
          if (!bit) {
            return wrong("aggregation must be contained, referenced or bundled", element.id);
          }
          type.aggregation =
              static_cast<std::uint8_t>(type.aggregation | static_cast<std::uint8_t>(*bit));
        }
      }
      type.versioning = meaning_of(kVersioningWords, item.string_at("versioning"))
                            .value_or(TypeRef::Versioning::kEither);
      element.types.push_back(std::move(type));
    }
    return {};
  }

  ValueFact value_fact(const json::Node& member, std::size_t prefix) {
    std::string type(member.name_text().substr(prefix));
    std::string lower = type;
    lower[0] = static_cast<char>(std::tolower(static_cast<unsigned char>(lower[0])));
    if (std::find(std::begin(kPrimitives), std::end(kPrimitives), lower) != std::end(kPrimitives)) {
      type = lower;
    }
    return {copy_text(texts_, type), copy_text(texts_, json::to_text(member))};
  }

  Result<void> read_values(const json::Node& node, ElementFacts& element) {
    struct Slot {
      std::string_view prefix;
      ValueFact* value;
    };
    const Slot slots[] = {{"fixed", &element.fixed},
                          {"pattern", &element.pattern},
                          {"minValue", &element.min_value},
                          {"maxValue", &element.max_value}};
    for (const json::Node& member : node) {
      for (const Slot& slot : slots) {
        const std::string_view name = member.name_text();
        if (!name.starts_with(slot.prefix) || name.size() == slot.prefix.size()) {
          continue;
        }
        if (slot.value->present()) {
          return wrong("more than one " + std::string(slot.prefix) + " value", element.id);
        }
        *slot.value = value_fact(member, slot.prefix.size());
      }
    }
    if (element.fixed.present() && element.pattern.present()) {
      return wrong("a fixed value and a pattern exclude each other", element.id);
    }
    if (const json::Node* length = node.find("maxLength")) {
      const auto bound = length->is_number() ? bound_of(length->text()) : std::nullopt;
      if (!bound) {
        return wrong("maxLength must be a whole number", element.id);
      }
      element.length_max = *bound;
    }
    return {};
  }

  Result<void> read_binding(const json::Node& node, ElementFacts& element) {
    const json::Node* binding = node.find("binding");
    if (binding == nullptr) {
      return {};
    }
    const auto strength = meaning_of(kStrengthWords, binding->string_at("strength"));
    if (!strength) {
      return wrong("binding.strength must be required, extensible, preferred or example",
                   element.id);
    }
    element.binding.present = true;
    element.binding.strength = *strength;
    element.binding.value_set = text_at(*binding, "valueSet");
    if (has_space(element.binding.value_set)) {
      return wrong("binding.valueSet must be a canonical without spaces", element.id);
    }
    if (const json::Node* extension = extension_of(*binding, kMaxValueSetUrl)) {
      element.binding.max_value_set = text_at(*extension, "valueCanonical");
    }
    return {};
  }

  Result<void> read_constraints(const json::Node& node, ElementFacts& element) {
    const json::Node* constraints = node.find("constraint");
    if (constraints == nullptr) {
      return {};
    }
    for (const json::Node& item : *constraints) {
      ConstraintFact constraint;
      constraint.key = text_at(item, "key");
      constraint.expression = text_at(item, "expression");
      constraint.source = text_at(item, "source");
      constraint.is_error = item.string_at("severity") != "warning";
      if (const json::Node* extension = extension_of(item, kBestPracticeUrl)) {
        constraint.best_practice = boolean_at(*extension, "valueBoolean");
      }
      if (constraint.key.empty() || has_space(constraint.key)) {
        return wrong("every constraint needs a key without spaces", element.id);
      }
      if (has_space(constraint.source)) {
        constraint.source = {};
      }
      element.constraints.push_back(constraint);
    }
    return {};
  }

  Result<void> read_slicing(const json::Node& node, ElementFacts& element) {
    const json::Node* slicing = node.find("slicing");
    if (slicing == nullptr) {
      return {};
    }
    element.slicing.present = true;
    element.slicing.ordered = boolean_at(*slicing, "ordered");
    const std::string_view rules = slicing->string_at("rules");
    element.slicing.has_rules = !rules.empty();
    const auto meaning = meaning_of(kRulesWords, rules.empty() ? "open" : rules);
    if (!meaning) {
      return wrong("slicing.rules must be open, closed or openAtEnd", element.id);
    }
    element.slicing.rules = *meaning;
    if (const json::Node* discriminators = slicing->find("discriminator")) {
      for (const json::Node& item : *discriminators) {
        const auto kind = meaning_of(kDiscriminatorWords, item.string_at("type"));
        const std::string_view path = item.string_at("path");
        if (!kind || path.empty()) {
          return wrong("a discriminator needs a type of R4 and a path", element.id);
        }
        element.slicing.discriminators.push_back({*kind, copy(path)});
      }
    }
    return {};
  }

  base::Arena& texts_;
  ShapeFacts shape_;
  std::vector<std::pair<std::string_view, std::string_view>> open_slices_;
};

// Parents and children given as properties, which code systems with several parents use.
void read_hierarchy(const json::Node& item, std::string_view code, CodeSystemFacts& system,
                    base::Arena& texts) {
  const json::Node* properties = item.find("property");
  if (properties == nullptr || !properties->is_array()) {
    return;
  }
  for (const json::Node& property : *properties) {
    const std::string_view name = property.string_at("code");
    const std::string_view other = property.string_at("valueCode");
    if (other.empty() || has_space(other) || has_space(code)) {
      continue;
    }
    if (name == "child") {
      system.also_below.emplace_back(copy_text(texts, other), code);
    } else if (name == "parent" || name == "subsumedBy") {
      system.also_below.emplace_back(code, copy_text(texts, other));
    }
  }
}

Result<void> read_concepts(const json::Node& concepts, std::uint32_t depth, CodeSystemFacts& system,
                           base::Arena& texts) {
  for (const json::Node& item : concepts) {
    const std::string_view code = item.string_at("code");
    if (code.empty()) {
      return Error(ErrorCode::kInvalid, "every concept needs a code", std::string(system.url));
    }
    if (system.codes.size() >= base::limits::kCodesMax) {
      return Error(ErrorCode::kLimit, "the code system has more codes than can be held",
                   std::string(system.url));
    }
    const std::string_view stored = copy_text(texts, code);
    system.codes.push_back({stored, depth});
    read_hierarchy(item, stored, system, texts);
    if (const json::Node* below = item.find("concept"); below != nullptr && below->is_array()) {
      Result<void> read = read_concepts(*below, depth + 1, system, texts);
      if (!read) {
        return read;
      }
    }
  }
  return {};
}

}  // namespace

bool has_elements(const json::Node& definition, ElementList list) {
  const json::Node* view =
      definition.find(list == ElementList::kSnapshot ? "snapshot" : "differential");
  const json::Node* elements = view != nullptr ? view->find("element") : nullptr;
  return elements != nullptr && elements->is_array() && elements->count > 0;
}

base::Result<ShapeFacts> read_structure(const json::Node& definition, ElementList list,
                                        base::Arena& texts) {
  return StructureReader(texts).read(definition, list);
}

base::Result<CodeSystemFacts> read_code_system(const json::Node& definition, base::Arena& texts) {
  CodeSystemFacts system;
  system.url = copy_text(texts, definition.string_at("url"));
  system.version = copy_text(texts, definition.string_at("version"));
  if (system.url.empty() || has_space(system.url) || has_space(system.version)) {
    return Error(ErrorCode::kInvalid, "a CodeSystem needs a url without spaces",
                 std::string(definition.string_at("id")));
  }
  const json::Node* case_sensitive = definition.find("caseSensitive");
  system.case_sensitive = case_sensitive == nullptr || case_sensitive->boolean;
  system.complete = definition.string_at("content") == "complete";
  if (const json::Node* concepts = definition.find("concept");
      concepts != nullptr && concepts->is_array()) {
    Result<void> read = read_concepts(*concepts, 0, system, texts);
    if (!read) {
      return std::move(read).error();
    }
  }
  return system;
}

}  // namespace engine::shapes
