// Walk: what a Bundle and a container ask beyond their invariants. Source: FHIR R4 bundle.html,
// references.html (contained resources).

#include "engine/check/compare.h"
#include "engine/check/walk.h"
#include "engine/fhir/reference.h"

namespace engine::check {

using fhir::ParsedReference;
using fhir::ReferenceForm;

void Walk::full_url(const json::Node& entry, std::string_view bundle_type) {
  const json::Node* url = entry.find(words().full_url);
  const json::Node* inside = entry.find(words().resource_name);
  if (url == nullptr || !url->is_string()) {
    return;
  }
  if (!fhir::is_absolute_uri(url->text())) {
    report().add(Severity::kError, "invalid", entry, [&] {
      return "fullUrl is " + shown(*url) + "; it is absolute: a server's address or a urn:uuid:";
    });
    return;
  }
  const ParsedReference parsed = fhir::parse_reference(url->text());
  if (inside == nullptr || parsed.form != ReferenceForm::kAbsolute ||
      bundle_type == "batch-response" || bundle_type == "transaction-response") {
    return;
  }
  const std::string_view id = inside->string_at("id");
  const std::string_view type = inside->string_at("resourceType");
  const bool known = types().find(parsed.type).has_value();
  if (known && !id.empty() && (parsed.id != id || parsed.type != type)) {
    report().add(Severity::kError, "invalid", entry, [&] {
      return "fullUrl is " + shown(*url) + ", the resource is " + std::string(type) + "/" +
             std::string(id) + "; the two agree";
    });
  }
}

void Walk::bundle(const json::Node& node) {
  const std::string_view type = node.string_at("type");
  const json::Node* list = node.find(words().entry);
  if (list == nullptr || !list->is_array()) {
    return;
  }
  for (const json::Node& each : *list) {
    if (each.is_object()) {
      full_url(each, type);
    }
  }
}

void Walk::contained_ids(const json::Node& node) {
  const json::Node* list = node.find(words().contained);
  if (list == nullptr || !list->is_array()) {
    return;
  }
  for (const json::Node& each : *list) {
    const json::Node* id = each.find(words().id);
    if (id == nullptr) {
      continue;
    }
    for (const json::Node& other : *list) {
      if (&other == &each) {
        break;
      }
      const json::Node* before = other.find(words().id);
      if (before != nullptr && before->text() == id->text()) {
        report().add(Severity::kError, "invalid", each, [&] {
          return "the id " + shown(*id) + " is there twice among the contained resources";
        });
      }
    }
  }
}

}  // namespace engine::check
