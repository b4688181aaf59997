#include "engine/mapping/target_tree.h"

namespace engine::mapping {

using json::Document;
using json::Kind;
using json::Node;
using shapes::Member;

namespace {

Node* find_member(Node& object, const json::Name* name) {
  return const_cast<Node*>(static_cast<const Node&>(object).find(name));
}

// Usually the item that was added last is asked for.
std::size_t index_in_parent(const Node& item) {
  if (item.parent->last == &item) {
    return item.parent->count - 1;
  }
  std::size_t index = 0;
  for (const Node* at = item.parent->first; at != &item; at = at->next) {
    ++index;
  }
  return index;
}

// nullptr for an index past the end.
const Node* item_at(const Node& array, std::size_t index) {
  if (index + 1 >= array.count) {
    return index + 1 == array.count ? array.last : nullptr;
  }
  const Node* at = array.first;
  for (; index > 0; --index) {
    at = at->next;
  }
  return at;
}

}  // namespace

void TargetTree::attach(Node& object, const Member& member, bool repeats, Node* node,
                        Node* companion) {
  if (!repeats) {
    Document::append(&object, member.name, node);
    if (companion != nullptr && member.companion != nullptr) {
      Document::append(&object, member.companion, companion);
    }
    return;
  }
  Node* array = find_member(object, member.name);
  if (array == nullptr) {
    array = document_.make_array();
    Document::append(&object, member.name, array);
  }
  Document::append(array, node);
  if (member.companion == nullptr) {
    return;
  }
  Node* companions = find_member(object, member.companion);
  if (companions == nullptr && companion == nullptr) {
    return;
  }
  if (companions == nullptr) {
    companions = document_.make_array();
    Document::append(&object, member.companion, companions);
  }
  while (companions->count + 1 < array->count) {
    Document::append(companions, document_.make_null());
  }
  Document::append(companions, companion != nullptr ? companion : document_.make_null());
}

const Node* TargetTree::find_companion(const Node& primitive, const Member& member) {
  if (primitive.parent == nullptr || member.companion == nullptr) {
    return nullptr;
  }
  if (primitive.parent->is_object()) {
    return static_cast<const Node*>(primitive.parent)->find(member.companion);
  }
  if (primitive.parent->parent == nullptr) {
    return nullptr;
  }
  const Node* companions =
      static_cast<const Node*>(primitive.parent->parent)->find(member.companion);
  if (companions == nullptr) {
    return nullptr;
  }
  const Node* found = item_at(*companions, index_in_parent(primitive));
  return found != nullptr && found->is_object() ? found : nullptr;
}

Node* TargetTree::companion_of(Node& primitive, const Member& member) {
  if (const Node* known = find_companion(primitive, member)) {
    return const_cast<Node*>(known);
  }
  if (primitive.parent == nullptr || member.companion == nullptr) {
    return nullptr;
  }
  if (primitive.parent->is_object()) {
    Node* made = document_.make_object();
    Document::append(primitive.parent, member.companion, made);
    watch(*made);
    return made;
  }
  Node& object = *primitive.parent->parent;
  Node* companions = find_member(object, member.companion);
  if (companions == nullptr) {
    companions = document_.make_array();
    Document::append(&object, member.companion, companions);
  }
  const std::size_t index = index_in_parent(primitive);
  Node* made = const_cast<Node*>(item_at(*companions, index));
  if (made != nullptr) {
    made->kind = Kind::kObject;  // it was the null that kept the place
  } else {
    while (companions->count < index) {
      Document::append(companions, document_.make_null());
    }
    made = document_.make_object();
    Document::append(companions, made);
  }
  watch(*made);
  return made;
}

bool TargetTree::claim(Node& item, End end, const void* claimant) {
  Node* array = item.parent;
  if (array == nullptr || !array->is_array()) {
    return true;  // an element that does not repeat has one place
  }
  Claims& claims = claims_[array];
  const void*& known = end == End::kFirst ? claims.first : claims.last;
  if (known != nullptr && known != claimant) {
    return false;
  }
  known = claimant;
  claims.items[&item] = end;
  return true;
}

}  // namespace engine::mapping
