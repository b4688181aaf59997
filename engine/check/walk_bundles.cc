// Walk: what a Bundle and a container ask beyond their invariants. Source: FHIR R4 bundle.html,
// references.html (contained resources).

#include "engine/check/compare.h"
#include "engine/check/contained.h"
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
    report().add(Severity::kWarning, "invalid", entry, [&] {
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
  links(node);
  const json::Node* list = node.find(words().entry);
  if (list == nullptr || !list->is_array()) {
    return;
  }
  for (const json::Node& each : *list) {
    if (each.is_object()) {
      full_url(each, type);
      search_mode(each);
    }
  }
  if (type == "document" && list->first != nullptr) {
    const json::Node* inside = list->first->find(words().resource_name);
    if (inside != nullptr && inside->is_object()) {
      const ResourceFrame composition{inside, type_of_resource(*inside), frame_, list->first,
                                      false};
      document_references(*inside, composition, *list->first);
    }
  }
}

// A relation such as next means one page, so it stands once.
void Walk::links(const json::Node& bundle_node) {
  const json::Node* list = bundle_node.find("link");
  if (list == nullptr || !list->is_array()) {
    return;
  }
  const std::string_view type = bundle_node.string_at("type");
  for (const json::Node& each : *list) {
    const std::string_view relation = each.string_at("relation");
    const json::Node* relation_node = each.find("relation");
    if (type == "document" && relation_node != nullptr &&
        (relation == "first" || relation == "previous" || relation == "next" ||
         relation == "last")) {
      report().add(Severity::kError, "invalid", *relation_node, [&] {
        return "the relation " + shown(relation) + " turns pages, and a document has none";
      });
    }
    for (const json::Node& other : *list) {
      if (&other == &each) {
        break;
      }
      if (!relation.empty() && other.string_at("relation") == relation) {
        report().add(Severity::kError, "invalid", each, [&] {
          return "the relation " + shown(relation) + " is there twice among the links";
        });
        break;
      }
    }
  }
}

void Walk::search_mode(const json::Node& entry_node) {
  const json::Node* search = entry_node.find("search");
  const json::Node* inside = entry_node.find(words().resource_name);
  if (search == nullptr || inside == nullptr) {
    return;
  }
  const std::string_view mode = search->string_at("mode");
  const bool outcome = inside->string_at("resourceType") == "OperationOutcome";
  if (!mode.empty() && outcome != (mode == "outcome")) {
    report().add(Severity::kError, "invalid", *inside, [&] {
      return "found " + std::string(inside->string_at("resourceType")) + " with search mode " +
             shown(mode) + "; outcome is for OperationOutcome and for nothing else";
    });
  }
}

// A document carries what its Composition refers to.
void Walk::document_references(const json::Node& node, const ResourceFrame& composition,
                               const json::Node& entry_node) {
  for (const json::Node& child : node) {
    if (child.is_object() || child.is_array()) {
      document_references(child, composition, entry_node);
      continue;
    }
    if (child.name != words().reference_name || !child.is_string() || !node.is_object()) {
      continue;
    }
    const ReferenceForm form = fhir::parse_reference(child.text()).form;
    if (form != ReferenceForm::kRelative && form != ReferenceForm::kUrn) {
      continue;
    }
    if (resolve(child.text(), &composition).resource == nullptr) {
      report().add(
          Severity::kError, "invalid", entry_node,
          [&] {
            return "the Composition refers to " + shown(child) +
                   ", which is no entry of this document (compared with each fullUrl)";
          },
          {}, &child);
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
    const std::string_view name = id != nullptr ? id->text() : std::string_view();
    for (const json::Node& other : *list) {
      if (&other == &each) {
        break;
      }
      if (!name.empty() && other.string_at("id") == name) {
        report().add(Severity::kError, "invalid", each, [&] {
          return "the id " + shown(name) + " is there twice among the contained resources";
        });
      }
    }
    if (each.is_object() && !is_pointed_at(each, name, node)) {
      report().add(
          Severity::kError, "invariant", each,
          [&] {
            return "nothing refers to the contained resource" +
                   (name.empty() ? " (it has no id)" : " " + shown("#" + std::string(name))) +
                   "; refer to it or take it out";
          },
          "dom-3");
    }
  }
}

}  // namespace engine::check
