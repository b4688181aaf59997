#include "engine/json/write.h"
#include "tests/mutation/mutations.h"

namespace mutation {

namespace json = engine::json;
namespace shapes = engine::shapes;
using Kind = Edit::Kind;
using Spoilt = std::optional<Edits>;

namespace {

Edits replace(const json::Node* at, std::string text) {
  return {{Kind::kReplace, at, std::move(text)}};
}
Edits add(const json::Node* at, std::string text) {
  return {{Kind::kAdd, at, std::move(text)}};
}
Edits remove(const json::Node* at) {
  return {{Kind::kRemove, at, {}}};
}

// The object itself, when it is of a type.
const json::Node* object_of(const Site& s, std::string_view type) {
  return s.node == nullptr && s.type == type ? s.object : nullptr;
}
bool has_element(const Site& s, std::string_view stem) {
  for (const shapes::Element& each : s.object_info->elements) {
    if (each.stem->text == stem) {
      return true;
    }
  }
  return false;
}
bool is_vital_sign(const Site& s) {
  const json::Node* object = object_of(s, "Observation");
  return object != nullptr && object->find("category") != nullptr;
}
const json::Node* at(const json::Node* from, std::initializer_list<std::string_view> path) {
  for (const std::string_view step : path) {
    from = from != nullptr ? from->find(step) : nullptr;
    from = from != nullptr && from->is_array() ? from->first : from;
  }
  return from;
}

// --- Invariants

Spoilt value_and_reason(const Site& s, const shapes::Catalog&) {
  const json::Node* object = object_of(s, "Observation");
  return object != nullptr && object->find("valueQuantity") != nullptr
             ? Spoilt(add(object, R"("dataAbsentReason":{"text":"none"})"))
             : std::nullopt;
}
Spoilt code_without_system(const Site& s, const shapes::Catalog&) {
  const json::Node* object = object_of(s, "Quantity");
  const json::Node* system = at(object, {"system"});
  return system != nullptr && object->find("code") != nullptr ? Spoilt(remove(system))
                                                              : std::nullopt;
}
Spoilt period_backwards(const Site& s, const shapes::Catalog&) {
  const json::Node* start = at(object_of(s, "Period"), {"start"});
  return start != nullptr && s.object->find("end") != nullptr
             ? Spoilt(replace(start, "\"2031-01-01\""))
             : std::nullopt;
}
Spoilt dangling_local_reference(const Site& s, const shapes::Catalog&) {
  const json::Node* literal = at(object_of(s, "Reference"), {"reference"});
  return literal != nullptr ? Spoilt(replace(literal, "\"#nowhere\"")) : std::nullopt;
}
Spoilt contained_in_contained(const Site& s, const shapes::Catalog&) {
  const json::Node* inner = s.node == nullptr ? at(s.object, {"contained"}) : nullptr;
  return inner != nullptr
             ? Spoilt(add(inner, R"("contained":[{"resourceType":"Basic","code":{"text":"x"}}])"))
             : std::nullopt;
}
Spoilt contained_with_version(const Site& s, const shapes::Catalog&) {
  const json::Node* inner = s.node == nullptr ? at(s.object, {"contained"}) : nullptr;
  return inner != nullptr ? Spoilt(add(inner, R"("meta":{"versionId":"1"})")) : std::nullopt;
}
Spoilt contained_with_security(const Site& s, const shapes::Catalog&) {
  const json::Node* inner = s.node == nullptr ? at(s.object, {"contained"}) : nullptr;
  return inner != nullptr ? Spoilt(add(inner, R"("meta":{"security":[{"code":"R"}]})"))
                          : std::nullopt;
}
Spoilt contained_unused(const Site& s, const shapes::Catalog&) {
  return s.node == nullptr && s.object->parent == nullptr && has_element(s, "contained") &&
                 s.object->find("contained") == nullptr
             ? Spoilt(add(s.object, R"("contained":[{"resourceType":"Basic","id":"spare","code":)"
                                    R"({"text":"x"}}])"))
             : std::nullopt;
}
Spoilt contained_twice(const Site& s, const shapes::Catalog&) {
  const json::Node* list = s.node == nullptr ? s.object->find("contained") : nullptr;
  return list != nullptr ? Spoilt(Edits{{Kind::kAddItem, list, json::to_text(*list->first)}})
                         : std::nullopt;
}
Spoilt component_repeats_code(const Site& s, const shapes::Catalog&) {
  const json::Node* object = object_of(s, "Observation");
  const json::Node* code = at(object, {"code", "coding"});
  return code != nullptr && object->find("valueQuantity") != nullptr
             ? Spoilt(add(object, "\"component\":[{\"code\":{\"coding\":[" + json::to_text(*code) +
                                      "]},\"valueString\":\"x\"}]"))
             : std::nullopt;
}
Spoilt range_without_content(const Site& s, const shapes::Catalog&) {
  const json::Node* range = at(object_of(s, "Observation"), {"referenceRange"});
  return range != nullptr ? Spoilt(replace(range, R"({"type":{"text":"normal"}})")) : std::nullopt;
}
Spoilt comparator_in_simple_quantity(const Site& s, const shapes::Catalog&) {
  const json::Node* low = at(object_of(s, "Observation"), {"referenceRange", "low"});
  return low != nullptr ? Spoilt(add(low, R"("comparator":"<")")) : std::nullopt;
}
Spoilt contact_point_without_system(const Site& s, const shapes::Catalog&) {
  const json::Node* system = at(object_of(s, "ContactPoint"), {"system"});
  return system != nullptr ? Spoilt(remove(system)) : std::nullopt;
}
Spoilt attachment_without_type(const Site& s, const shapes::Catalog&) {
  const json::Node* type = at(object_of(s, "Attachment"), {"contentType"});
  return type != nullptr && s.object->find("data") != nullptr ? Spoilt(remove(type)) : std::nullopt;
}
Spoilt attachment_of_wrong_size(const Site& s, const shapes::Catalog&) {
  const json::Node* size = at(object_of(s, "Attachment"), {"size"});
  return size != nullptr ? Spoilt(replace(size, "99")) : std::nullopt;
}
Spoilt contact_without_details(const Site& s, const shapes::Catalog&) {
  const json::Node* contact = at(object_of(s, "Patient"), {"contact"});
  return contact != nullptr ? Spoilt(replace(contact, R"({"gender":"other"})")) : std::nullopt;
}
Spoilt entity_with_name_and_query(const Site& s, const shapes::Catalog&) {
  const json::Node* entity = at(object_of(s, "AuditEvent"), {"entity"});
  return entity != nullptr ? Spoilt(add(entity, R"("query":"eA==")")) : std::nullopt;
}
Spoilt stage_without_content(const Site& s, const shapes::Catalog&) {
  const json::Node* stage = at(object_of(s, "Condition"), {"stage"});
  return stage != nullptr ? Spoilt(replace(stage, R"({"type":{"text":"x"}})")) : std::nullopt;
}
Spoilt duration_without_unit(const Site& s, const shapes::Catalog&) {
  const json::Node* unit =
      at(object_of(s, "ServiceRequest"), {"occurrenceTiming", "repeat", "periodUnit"});
  return unit != nullptr ? Spoilt(remove(unit)) : std::nullopt;
}
Spoilt display_item_with_children(const Site& s, const shapes::Catalog&) {
  const json::Node* type = at(s.node == nullptr ? s.object : nullptr, {"type"});
  return s.type == "Questionnaire.item" && type != nullptr && type->text() == "group"
             ? Spoilt(replace(type, "\"display\""))
             : std::nullopt;
}
Spoilt link_id_twice(const Site& s, const shapes::Catalog&) {
  const json::Node* id = at(s.node == nullptr ? s.object : nullptr, {"linkId"});
  return s.type == "Questionnaire.item" && id != nullptr && id->text() == "2.1"
             ? Spoilt(replace(id, "\"1\""))
             : std::nullopt;
}
Spoilt only_an_id(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.node->is_object() && s.node->find("resourceType") == nullptr
             ? Spoilt(replace(s.node, R"({"id":"a"})"))
             : std::nullopt;
}

// --- Extensions

bool takes_extensions(const Site& s) {
  return s.node == nullptr && has_element(s, "extension") &&
         s.object->find("extension") == nullptr && s.type != "Extension";
}
Spoilt extension_with_both(const Site& s, const shapes::Catalog&) {
  return takes_extensions(s)
             ? Spoilt(add(s.object,
                          R"("extension":[{"url":"https://ward.example/x","valueCode":"a")"
                          R"(,"extension":[{"url":"y","valueCode":"b"}]}])"))
             : std::nullopt;
}
Spoilt extension_with_neither(const Site& s, const shapes::Catalog&) {
  return takes_extensions(s)
             ? Spoilt(add(s.object, R"("extension":[{"url":"https://ward.example/x"}])"))
             : std::nullopt;
}
Spoilt extension_without_url(const Site& s, const shapes::Catalog&) {
  return takes_extensions(s) ? Spoilt(add(s.object, R"("extension":[{"valueCode":"a"}])"))
                             : std::nullopt;
}
Spoilt extension_with_relative_url(const Site& s, const shapes::Catalog&) {
  return takes_extensions(s)
             ? Spoilt(add(s.object, R"("extension":[{"url":"short","valueCode":"a"}])"))
             : std::nullopt;
}
Spoilt extension_out_of_place(const Site& s, const shapes::Catalog&) {
  return takes_extensions(s) && s.type == "HumanName"
             ? Spoilt(add(s.object,
                          R"("extension":[{"url":"http://hl7.org/fhir/StructureDefinition/)"
                          R"(patient-birthPlace","valueAddress":{"text":"x"}}])"))
             : std::nullopt;
}

// --- References

Spoilt reference_to_wrong_type(const Site& s, const shapes::Catalog&) {
  const json::Node* literal = s.node != nullptr && s.type == "Reference" && !s.node->is_array() &&
                                      s.node->name_text() == "subject"
                                  ? s.node->find("reference")
                                  : nullptr;
  return literal != nullptr ? Spoilt(replace(literal, "\"Medication/1\"")) : std::nullopt;
}
Spoilt reference_to_no_type(const Site& s, const shapes::Catalog&) {
  const json::Node* literal = at(object_of(s, "Reference"), {"reference"});
  return literal != nullptr ? Spoilt(replace(literal, "\"Pateint/1\"")) : std::nullopt;
}
Spoilt reference_type_disagrees(const Site& s, const shapes::Catalog&) {
  const json::Node* object = object_of(s, "Reference");
  const json::Node* literal = at(object, {"reference"});
  return literal != nullptr && literal->text() == "Patient/p1" && object->find("type") == nullptr
             ? Spoilt(add(object, R"("type":"Group")"))
             : std::nullopt;
}

// --- Narrative

Spoilt narrative(const Site& s, std::string_view div) {
  const json::Node* node = at(object_of(s, "Narrative"), {"div"});
  std::string text;
  json::write_string(div, text);
  return node != nullptr ? Spoilt(replace(node, std::move(text))) : std::nullopt;
}
Spoilt narrative_with_script(const Site& s, const shapes::Catalog&) {
  return narrative(s, "<div xmlns=\"http://www.w3.org/1999/xhtml\">x<script>y</script></div>");
}
Spoilt narrative_with_event(const Site& s, const shapes::Catalog&) {
  return narrative(s, "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p onclick=\"y\">x</p></div>");
}
Spoilt narrative_without_namespace(const Site& s, const shapes::Catalog&) {
  return narrative(s, "<div>x</div>");
}
Spoilt narrative_blank(const Site& s, const shapes::Catalog&) {
  return narrative(s, "<div xmlns=\"http://www.w3.org/1999/xhtml\"> <p/> </div>");
}
Spoilt narrative_not_closed(const Site& s, const shapes::Catalog&) {
  return narrative(s, "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>x</div>");
}
Spoilt narrative_with_named_entity(const Site& s, const shapes::Catalog&) {
  return narrative(s, "<div xmlns=\"http://www.w3.org/1999/xhtml\">x&nbsp;y</div>");
}

// --- Resources and Bundles

Spoilt no_resource_type(const Site& s, const shapes::Catalog&) {
  const json::Node* type = s.node == nullptr ? s.object->find("resourceType") : nullptr;
  return type != nullptr ? Spoilt(remove(type)) : std::nullopt;
}
Spoilt unknown_resource_type(const Site& s, const shapes::Catalog&) {
  const json::Node* type = s.node == nullptr ? s.object->find("resourceType") : nullptr;
  return type != nullptr ? Spoilt(replace(type, "\"Observaton\"")) : std::nullopt;
}
Spoilt claim_of_another_type(const Site& s, const shapes::Catalog&) {
  return s.node == nullptr && s.is_resource && s.object->find("meta") == nullptr &&
                 s.type != "Bundle"
             ? Spoilt(
                   add(s.object,
                       R"("meta":{"profile":["http://hl7.org/fhir/StructureDefinition/Bundle"]})"))
             : std::nullopt;
}
const json::Node* entry_of(const Site& s, std::string_view bundle_type) {
  const json::Node* object = object_of(s, "Bundle");
  return object != nullptr && object->string_at("type") == bundle_type ? at(object, {"entry"})
                                                                       : nullptr;
}
Spoilt entry_without_request(const Site& s, const shapes::Catalog&) {
  const json::Node* request = at(entry_of(s, "transaction"), {"request"});
  return request != nullptr ? Spoilt(remove(request)) : std::nullopt;
}
Spoilt full_url_disagrees(const Site& s, const shapes::Catalog&) {
  const json::Node* url = at(entry_of(s, "collection"), {"fullUrl"});
  return url != nullptr ? Spoilt(replace(url, "\"https://ward.example/fhir/Patient/p2\""))
                        : std::nullopt;
}
Spoilt full_url_versioned(const Site& s, const shapes::Catalog&) {
  const json::Node* url = at(entry_of(s, "collection"), {"fullUrl"});
  return url != nullptr
             ? Spoilt(replace(url, "\"https://ward.example/fhir/Patient/p1/_history/2\""))
             : std::nullopt;
}
Spoilt full_url_twice(const Site& s, const shapes::Catalog&) {
  const json::Node* object = object_of(s, "Bundle");
  const json::Node* list = object != nullptr ? object->find("entry") : nullptr;
  return list != nullptr ? Spoilt(Edits{{Kind::kAddItem, list, json::to_text(*list->first)}})
                         : std::nullopt;
}
Spoilt total_outside_search(const Site& s, const shapes::Catalog&) {
  const json::Node* object = object_of(s, "Bundle");
  return object != nullptr ? Spoilt(add(object, "\"total\":1")) : std::nullopt;
}

// --- Vital signs, which profiles ask for by their code alone

Spoilt vital_sign_without_category(const Site& s, const shapes::Catalog&) {
  return is_vital_sign(s) ? Spoilt(remove(s.object->find("category"))) : std::nullopt;
}
Spoilt vital_sign_of_other_category(const Site& s, const shapes::Catalog&) {
  const json::Node* code =
      is_vital_sign(s) ? at(s.object, {"category", "coding", "code"}) : nullptr;
  return code != nullptr ? Spoilt(replace(code, "\"exam\"")) : std::nullopt;
}
Spoilt vital_sign_without_time(const Site& s, const shapes::Catalog&) {
  const json::Node* time = is_vital_sign(s) ? s.object->find("effectiveDateTime") : nullptr;
  return time != nullptr ? Spoilt(remove(time)) : std::nullopt;
}
Spoilt vital_sign_of_a_month(const Site& s, const shapes::Catalog&) {
  const json::Node* time = is_vital_sign(s) ? s.object->find("effectiveDateTime") : nullptr;
  return time != nullptr ? Spoilt(replace(time, "\"2026-03\"")) : std::nullopt;
}
Spoilt vital_sign_without_subject(const Site& s, const shapes::Catalog&) {
  const json::Node* subject = is_vital_sign(s) ? s.object->find("subject") : nullptr;
  return subject != nullptr ? Spoilt(remove(subject)) : std::nullopt;
}
Spoilt vital_sign_without_value(const Site& s, const shapes::Catalog&) {
  const json::Node* value = is_vital_sign(s) ? s.object->find("valueQuantity") : nullptr;
  return value != nullptr ? Spoilt(remove(value)) : std::nullopt;
}
Spoilt vital_sign_in_another_unit(const Site& s, const shapes::Catalog&) {
  const json::Node* code = is_vital_sign(s) ? at(s.object, {"valueQuantity", "code"}) : nullptr;
  return code != nullptr ? Spoilt(replace(code, "\"1\"")) : std::nullopt;
}
Spoilt vital_sign_component_without_value(const Site& s, const shapes::Catalog&) {
  const json::Node* value =
      is_vital_sign(s) ? at(s.object, {"component", "valueQuantity"}) : nullptr;
  return value != nullptr ? Spoilt(remove(value)) : std::nullopt;
}
Spoilt pressure_without_diastolic(const Site& s, const shapes::Catalog&) {
  const json::Node* list = is_vital_sign(s) ? s.object->find("component") : nullptr;
  return list != nullptr ? Spoilt(remove(list->last)) : std::nullopt;
}

constexpr Mutation kMutations[] = {
    {"obs-6: a value and the reason for none", value_and_reason},
    {"qty-3: unit code without its system", code_without_system},
    {"per-1: period that ends before it starts", period_backwards},
    {"ref-1: reference to nothing contained", dangling_local_reference},
    {"dom-2: contained in contained", contained_in_contained},
    {"dom-4: contained with a version", contained_with_version},
    {"dom-5: contained with a security label", contained_with_security},
    {"dom-3: contained that nothing refers to", contained_unused},
    {"contained id twice", contained_twice},
    {"obs-7: component with the Observation's own code", component_repeats_code},
    {"obs-3: reference range without content", range_without_content},
    {"sqty-1: comparator in a SimpleQuantity", comparator_in_simple_quantity},
    {"cpt-2: contact point without system", contact_point_without_system},
    {"att-1: data without contentType", attachment_without_type},
    {"attachment of another size", attachment_of_wrong_size},
    {"pat-1: contact without details", contact_without_details},
    {"sev-1: entity with name and query", entity_with_name_and_query},
    {"con-1: stage without content", stage_without_content},
    {"tim-2: period without unit", duration_without_unit},
    {"que-1: display item with children", display_item_with_children},
    {"que-2: linkId twice", link_id_twice},
    {"ele-1: an id alone", only_an_id},
    {"ext-1: extension with value and children", extension_with_both},
    {"ext-1: extension with neither", extension_with_neither},
    {"extension without url", extension_without_url},
    {"extension with a relative url", extension_with_relative_url},
    {"extension out of its context", extension_out_of_place},
    {"reference to a type not allowed", reference_to_wrong_type},
    {"reference to a type that does not exist", reference_to_no_type},
    {"Reference.type that disagrees", reference_type_disagrees},
    {"narrative with a script", narrative_with_script},
    {"narrative with an event", narrative_with_event},
    {"narrative without its namespace", narrative_without_namespace},
    {"narrative without content", narrative_blank},
    {"narrative that is not well-formed", narrative_not_closed},
    {"narrative with a named entity", narrative_with_named_entity},
    {"no resourceType", no_resource_type},
    {"misspelt resourceType", unknown_resource_type},
    {"claim of a profile for another type", claim_of_another_type},
    {"bdl-3: transaction entry without request", entry_without_request},
    {"fullUrl that disagrees with the id", full_url_disagrees},
    {"bdl-8: versioned fullUrl", full_url_versioned},
    {"bdl-7: fullUrl twice", full_url_twice},
    {"bdl-1: total outside a search", total_outside_search},
    {"vital sign without its category", vital_sign_without_category},
    {"vital sign of another category", vital_sign_of_other_category},
    {"vital sign without its time", vital_sign_without_time},
    {"vs-1: vital sign known to the month only", vital_sign_of_a_month},
    {"vital sign without its subject", vital_sign_without_subject},
    {"vs-2: vital sign without value and reason", vital_sign_without_value},
    {"vital sign in another unit", vital_sign_in_another_unit},
    {"vs-3: component without value and reason", vital_sign_component_without_value},
    {"blood pressure without its diastolic part", pressure_without_diastolic},
};

}  // namespace

std::span<const Mutation> rule_mutations() {
  return kMutations;
}

}  // namespace mutation
