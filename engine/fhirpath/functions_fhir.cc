// What FHIR adds: extension, hasValue, getValue, resolve, memberOf, conformsTo, subsumes,
// subsumedBy, elementDefinition, slice, checkModifiers, htmlChecks. Source: FHIR R4 fhirpath.html.

#include "engine/fhir/narrative.h"
#include "engine/fhir/reference.h"
#include "engine/fhirpath/function.h"

namespace engine::fhirpath {
namespace {

// The array of extensions of an element: its own member, or its companion's for a primitive.
const json::Node* extensions_of(const Item& item, std::string_view name) {
  if (!item.is_node()) {
    return nullptr;
  }
  const json::Node* holder =
      item.at.node != nullptr && item.at.node->is_object() ? item.at.node : item.at.companion;
  const json::Node* list = holder != nullptr ? holder->find(name) : nullptr;
  return list != nullptr && list->is_array() ? list : nullptr;
}

void extension(Call& call) {
  const auto url = call.string_argument(0);
  if (!url) {
    return;
  }
  call.begin();
  const shapes::TypeId type =
      call.machine.types() != nullptr ? call.machine.types()->extension() : shapes::kNoType;
  for (const Item& item : call.input()) {
    if (const json::Node* list = extensions_of(item, "extension")) {
      for (const json::Node& one : *list) {
        call.machine.tick();
        if (one.string_at("url") == *url) {
          call.machine.push(Item::of_node(&one, type));
        }
      }
    }
  }
}

bool is_primitive_value(Machine& machine, const Item& item) {
  if (!item.is_node()) {
    return true;
  }
  const json::Node* node = item.at.node;
  return node != nullptr && !node->is_object() && !machine.value_of(item).is_nothing();
}

void has_value(Call& call) {
  call.give(call.input().size() == 1 && is_primitive_value(call.machine, call.input().front()));
}

void get_value(Call& call) {
  if (call.input().size() == 1 && is_primitive_value(call.machine, call.input().front())) {
    call.give(call.machine.value_of(call.input().front()));
  }
}

// --- resolve()

Item resource_item(Machine& machine, const json::Node* node) {
  return Item::of_node(
      node, machine.types() != nullptr ? machine.types()->resource_type(*node) : shapes::kNoType);
}

const json::Node* place_of(const Item& item) {
  return item.at.node != nullptr ? item.at.node : item.at.companion;
}

// "#id" among the contained resources of the container; "#" is the container itself.
Item find_contained(Machine& machine, const json::Node* container, std::string_view id) {
  if (id.empty()) {
    return resource_item(machine, container);
  }
  if (const json::Node* contained = container->find("contained")) {
    for (const json::Node& resource : *contained) {
      machine.tick();
      if (resource.string_at("id") == id) {
        return resource_item(machine, &resource);
      }
    }
  }
  return {};
}

// The entry that holds a node, and the Bundle around it; nullptr outside a Bundle.
const json::Node* entry_of(const json::Node* node) {
  for (; node != nullptr; node = node->parent) {
    const json::Node* list = node->parent;
    if (list != nullptr && list->is_array() && list->name_text() == "entry" && node->is_object()) {
      return node;
    }
  }
  return nullptr;
}

bool same_address(std::string_view full_url, const fhir::ParsedReference& reference,
                  std::string_view base) {
  const std::string_view tail = "/";
  if (full_url.size() != base.size() + 1 + reference.type.size() + 1 + reference.id.size()) {
    return false;
  }
  return full_url.starts_with(base) && full_url.substr(base.size(), 1) == tail &&
         full_url.substr(base.size() + 1).starts_with(reference.type) &&
         full_url.ends_with(reference.id);
}

// FHIR R4 bundle.html, "Resolving references in Bundles": a relative reference takes the root of
// its entry's fullUrl.
Item find_in_bundle(Machine& machine, const Item& from, std::string_view text,
                    const fhir::ParsedReference& reference) {
  const json::Node* entry = entry_of(place_of(from));
  if (entry == nullptr) {
    return {};
  }
  const fhir::ParsedReference own = fhir::parse_reference(entry->string_at("fullUrl"));
  const std::string_view base =
      reference.form == fhir::ReferenceForm::kRelative ? own.base : reference.base;
  const bool restful = reference.form == fhir::ReferenceForm::kRelative ||
                       reference.form == fhir::ReferenceForm::kAbsolute;
  for (const json::Node& candidate : *entry->parent) {
    machine.tick();
    const json::Node* resource = candidate.find("resource");
    if (resource == nullptr) {
      continue;
    }
    const std::string_view full_url = candidate.string_at("fullUrl");
    bool found = full_url == text && !text.empty();
    if (!found && restful) {
      found = base.empty()
                  ? full_url.empty() && resource->string_at("resourceType") == reference.type &&
                        resource->string_at("id") == reference.id
                  : same_address(full_url, reference, base);
    }
    const json::Node* meta = resource->find("meta");
    if (found && (reference.version.empty() ||
                  (meta != nullptr && meta->string_at("versionId") == reference.version))) {
      return resource_item(machine, resource);
    }
  }
  return {};
}

Item resolve_one(Machine& machine, const Item& from, std::string_view text) {
  const fhir::ParsedReference reference = fhir::parse_reference(text);
  if (reference.form == fhir::ReferenceForm::kContained) {
    const json::Node* inner = from.is_node() ? nearest_resource(place_of(from)) : nullptr;
    if (inner == nullptr) {
      const Item root = machine.root_resource();
      inner = root.is_node() ? root.at.node : nullptr;
    }
    return inner != nullptr ? find_contained(machine, container_of(inner), reference.fragment)
                            : Item();
  }
  if (from.is_node()) {
    const Item found = find_in_bundle(machine, from, text, reference);
    if (!found.is_nothing()) {
      return found;
    }
  }
  return machine.host().resolve(text, from);
}

void resolve(Call& call) {
  call.begin();
  for (const Item& item : call.input()) {
    std::string_view text;
    const Item value = call.machine.value_of(item);
    if (value.kind == ItemKind::kString) {
      text = value.text();
    } else if (item.is_node() && item.at.node != nullptr && item.at.node->is_object()) {
      text = item.at.node->string_at("reference");
    }
    if (!text.empty()) {
      const Item found = resolve_one(call.machine, item, text);
      if (!found.is_nothing()) {
        call.machine.push(found);
      }
    }
  }
}

// --- What the host knows

// The single input and a string argument of a test; nullopt when one is empty.
struct Question {
  Item item;
  std::string_view about;
};
std::optional<Question> question_of(Call& call) {
  const auto about = call.string_argument(0);
  if (call.input().size() > 1) {
    call.machine.fail("one item is expected here, not " + std::to_string(call.input().size()));
  }
  if (call.input().empty() || !about) {
    return std::nullopt;
  }
  return Question{call.input().front(), *about};
}

void give_answer(Call& call, const base::Result<bool>& answer) {
  if (!answer) {
    call.machine.fail(answer.error().detail, answer.error().code);
  }
  call.give(*answer);
}

void member_of(Call& call) {
  if (const auto question = question_of(call)) {
    give_answer(call, call.machine.host().member_of(question->item, question->about));
  }
}

void conforms_to(Call& call) {
  if (const auto question = question_of(call)) {
    give_answer(call, call.machine.host().conforms_to(question->item, question->about,
                                                      call.machine.types()));
  }
}

void subsumption(Call& call, bool turned) {
  const Items other = call.argument(0);
  if (call.input().empty() || other.empty()) {
    return;
  }
  if (call.input().size() > 1 || other.size() > 1) {
    call.machine.fail("one code is expected on each side");
  }
  const Item& one = turned ? other.front() : call.input().front();
  const Item& two = turned ? call.input().front() : other.front();
  give_answer(call, call.machine.host().subsumes(one, two));
}
void subsumes(Call& call) {
  subsumption(call, false);
}
void subsumed_by(Call& call) {
  subsumption(call, true);
}

void element_definition(Call& call) {
  call.begin();
  for (const Item& item : call.input()) {
    const Item found = call.machine.host().element_definition(item);
    if (!found.is_nothing()) {
      call.machine.push(found);
    }
  }
}

void slice(Call& call) {
  const auto structure = call.string_argument(0);
  const auto name = call.string_argument(1);
  if (!structure || !name) {
    return;
  }
  call.begin();
  for (const Item& item : call.input()) {
    const base::Result<bool> in = call.machine.host().in_slice(item, *structure, *name);
    if (!in) {
      call.machine.fail(in.error().detail, in.error().code);
    }
    if (*in) {
      call.machine.push(item);
    }
  }
}

// The input, unless it has a modifier extension that is not among the arguments.
void check_modifiers(Call& call) {
  std::vector<std::string_view> known;
  for (std::size_t i = 0; i < call.arguments(); ++i) {
    if (const auto url = call.string_argument(i)) {
      known.push_back(*url);
    }
  }
  for (const Item& item : call.input()) {
    const json::Node* list = extensions_of(item, "modifierExtension");
    if (list == nullptr) {
      continue;
    }
    for (const json::Node& one : *list) {
      const std::string_view url = one.string_at("url");
      bool found = false;
      for (const std::string_view allowed : known) {
        found |= allowed == url;
      }
      if (!found) {
        call.machine.fail("an element has the modifier extension " +
                          std::string(url.substr(0, 200)) +
                          ", which this expression does not know");
      }
    }
  }
  call.begin();
  call.machine.push_all(call.input());
}

void html_checks(Call& call) {
  if (const auto text = call.string_input()) {
    call.give(fhir::check_narrative(*text).faults.empty());
  }
}

constexpr Function kFunctions[] = {
    {"extension", 1, 1, Gives::kUnknown, extension},
    {"hasValue", 0, 0, Gives::kBoolean, has_value},
    {"getValue", 0, 0, Gives::kUnknown, get_value},
    {"resolve", 0, 0, Gives::kUnknown, resolve},
    {"memberOf", 1, 1, Gives::kBoolean, member_of},
    {"conformsTo", 1, 1, Gives::kBoolean, conforms_to},
    {"subsumes", 1, 1, Gives::kBoolean, subsumes},
    {"subsumedBy", 1, 1, Gives::kBoolean, subsumed_by},
    {"elementDefinition", 0, 0, Gives::kUnknown, element_definition},
    {"slice", 2, 2, Gives::kInput, slice},
    {"checkModifiers", 0, 255, Gives::kInput, check_modifiers},
    {"htmlChecks", 0, 0, Gives::kBoolean, html_checks},
};

}  // namespace

std::span<const Function> fhir_functions() {
  return kFunctions;
}

}  // namespace engine::fhirpath
