#include "engine/check/contained.h"

#include "engine/fhir/narrative.h"

namespace engine::check {
namespace {

// Any text "#id" of an element other than the contained resource itself; addresses of a narrative.
bool points_at(const json::Node& node, std::string_view id, const json::Node& except) {
  if (&node == &except) {
    return false;
  }
  if (node.is_string()) {
    const std::string_view text = node.text();
    if (text.size() == id.size() + 1 && text.front() == '#' && text.substr(1) == id) {
      return true;
    }
    if (node.name_text() == "div") {
      for (const std::string_view local : fhir::check_narrative(text).local_references) {
        if (local == id) {
          return true;
        }
      }
    }
    return false;
  }
  for (const json::Node& child : node) {
    if (points_at(child, id, except)) {
      return true;
    }
  }
  return false;
}

bool points_at_container(const json::Node& node) {
  if (node.is_string()) {
    return node.text() == "#";
  }
  for (const json::Node& child : node) {
    if (points_at_container(child)) {
      return true;
    }
  }
  return false;
}

}  // namespace

bool is_pointed_at(const json::Node& contained, std::string_view id, const json::Node& container) {
  return points_at(container, id, contained) || points_at_container(contained);
}

}  // namespace engine::check
