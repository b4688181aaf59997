#pragma once
// Wrong resources made from right ones: a list of edits, applied while the resource is printed, so
// that even text that no JSON tree can hold (a property twice) comes out.

#include <string>
#include <vector>

#include "engine/json/node.h"
#include "engine/shapes/catalog.h"

namespace mutation {

struct Edit {
  enum class Kind { kReplace, kRemove, kRename, kAdd, kAddItem };
  Kind kind;
  const engine::json::Node* at;
  std::string text;  // JSON of the new value, the new name, or `"name":value` to add
};
using Edits = std::vector<Edit>;

std::string print(const engine::json::Node& root, const Edits& edits);

// A place that a mutation may change: a member of an object with what the type model says of it.
struct Site {
  const engine::json::Node* root = nullptr;    // of the whole document
  const engine::json::Node* object = nullptr;  // that has the member
  const engine::json::Node* node = nullptr;    // the member; an array when it repeats
  engine::shapes::TypeId object_type = engine::shapes::kNoType;
  const engine::shapes::TypeInfo* object_info = nullptr;
  const engine::shapes::Element* element = nullptr;
  const engine::shapes::Member* member = nullptr;
  const engine::shapes::ShapeElement* shape = nullptr;  // of the base shape; may be nullptr
  std::string_view type;     // name of the member's type; of the object itself when node is nullptr
  bool is_resource = false;  // object is a resource
};

// Every object (node = nullptr) and every member below the root, in document order.
std::vector<Site> sites_of(const engine::json::Node& root, const engine::shapes::Catalog& catalog);

}  // namespace mutation
