// Machine: what lies around the focus: its resource, that one's container, the present.

#include <optional>

#include "engine/fhirpath/machine.h"
#include "engine/fhirpath/temporal.h"

namespace engine::fhirpath {
namespace {

bool has_resource_type(const json::Node& node) {
  const json::Node* named = node.find("resourceType");
  return named != nullptr && named->is_string();
}

}  // namespace

const json::Node* nearest_resource(const json::Node* node) {
  while (node != nullptr && !(node->is_object() && has_resource_type(*node))) {
    node = node->parent;
  }
  return node;
}

const json::Node* container_of(const json::Node* resource) {
  const json::Node* list = resource->parent;
  if (list == nullptr) {
    return resource;
  }
  const json::Node* holder = list->is_array() ? list : resource;
  if (holder->name_text() != "contained") {
    return resource;
  }
  const json::Node* container = nearest_resource(holder->parent);
  return container != nullptr ? container : resource;
}

Item Machine::resource() const {
  if (!context_.resource.is_nothing()) {
    return context_.resource;
  }
  if (context_.focus.empty() || !context_.focus.front().is_node()) {
    return {};
  }
  const NodeRef& place = context_.focus.front().at;
  const json::Node* node = nearest_resource(place.node != nullptr ? place.node : place.companion);
  if (node == nullptr) {
    // A document that is no resource, such as a session document: its root stands for it.
    node = place.node;
    while (node != nullptr && node->parent != nullptr) {
      node = node->parent;
    }
    return node == place.node ? context_.focus.front() : Item();
  }
  return Item::of_node(node, types() != nullptr ? types()->resource_type(*node) : shapes::kNoType);
}

Item Machine::root_resource() const {
  if (!context_.root_resource.is_nothing()) {
    return context_.root_resource;
  }
  const Item inner = resource();
  if (inner.is_nothing()) {
    return {};
  }
  const json::Node* node = container_of(inner.at.node);
  if (node == inner.at.node) {
    return inner;
  }
  return Item::of_node(node, types() != nullptr ? types()->resource_type(*node) : shapes::kNoType);
}

Item Machine::now() {
  if (context_.now.empty()) {
    fail("the present time is not known here", base::ErrorCode::kUnsupported);
  }
  const std::optional<Temporal> moment = parse_date_time(context_.now);
  if (!moment) {
    fail("the present time is not a FHIR instant");
  }
  return Item::of_temporal(ItemKind::kDateTime, *moment);
}

}  // namespace engine::fhirpath
