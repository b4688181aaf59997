#include "engine/mapping/target_tree.h"

#include <algorithm>

namespace engine::mapping {

using json::Document;
using json::Kind;
using json::Node;
using shapes::Member;

namespace {

Node* find_member(Node& object, const json::Name* name) {
  return const_cast<Node*>(static_cast<const Node&>(object).find(name));
}

std::size_t index_in_parent(const Node& item) {
  std::size_t index = 0;
  for (const Node* at = item.parent->first; at != &item; at = at->next) {
    ++index;
  }
  return index;
}

// The array or object member of a primitive's companion, whose name is not known from the node
// itself.
const Node* item_at(const Node& array, std::size_t index) {
  for (const Node& item : array) {
    if (index-- == 0) {
      return &item;
    }
  }
  return nullptr;
}

void relink(Node& parent, const std::vector<Node*>& children) {
  parent.first = parent.last = nullptr;
  parent.count = 0;
  for (Node* child : children) {
    child->next = nullptr;
    child->parent = &parent;
    (parent.last != nullptr ? parent.last->next : parent.first) = child;
    parent.last = child;
    ++parent.count;
  }
}

std::vector<Node*> children_of(Node& parent) {
  std::vector<Node*> children;
  for (Node* child = parent.first; child != nullptr; child = child->next) {
    children.push_back(child);
  }
  return children;
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
  Node* made = document_.make_object();
  if (primitive.parent->is_object()) {
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
  std::vector<Node*> items = children_of(*companions);
  while (items.size() <= index) {
    items.push_back(document_.make_null());
  }
  items[index] = made;
  relink(*companions, items);
  watch(*made);
  return made;
}

bool TargetTree::claim(Node& item, End end, const void* claimant) {
  Node* array = item.parent;
  if (array == nullptr || !array->is_array()) {
    return true;  // an element that does not repeat has one place
  }
  for (const Claim& known : claims_) {
    if (known.array == array && known.end == end && known.claimant != claimant) {
      return false;
    }
  }
  claims_.push_back({array, &item, end, claimant});
  return true;
}

void TargetTree::detach(Node& node) {
  Node* parent = node.parent;
  if (parent == nullptr) {
    return;
  }
  Node* before = nullptr;
  for (Node* at = parent->first; at != nullptr && at != &node; at = at->next) {
    before = at;
  }
  (before != nullptr ? before->next : parent->first) = node.next;
  if (parent->last == &node) {
    parent->last = before;
  }
  --parent->count;
  node.next = nullptr;
  node.parent = nullptr;
}

// First-claimed items, then the others, then last-claimed ones, each in the order they were made.
// Companions go along.
void TargetTree::reorder(Node& array) {
  const std::vector<Node*> items = children_of(array);
  std::vector<std::pair<int, std::size_t>> order;
  for (std::size_t i = 0; i < items.size(); ++i) {
    int rank = 1;
    for (const Claim& claim : claims_) {
      if (claim.item == items[i]) {
        rank = claim.end == End::kFirst ? 0 : 2;
      }
    }
    order.emplace_back(rank, i);
  }
  std::stable_sort(order.begin(), order.end(),
                   [](const auto& a, const auto& b) { return a.first < b.first; });
  Node* companions = nullptr;
  if (array.parent != nullptr && array.parent->is_object() && array.name != nullptr) {
    companions = find_member(*array.parent, document_.name("_" + std::string(array.name->text)));
  }
  std::vector<Node*> beside =
      companions != nullptr ? children_of(*companions) : std::vector<Node*>();
  while (companions != nullptr && beside.size() < items.size()) {
    beside.push_back(document_.make_null());
  }
  std::vector<Node*> sorted;
  std::vector<Node*> sorted_beside;
  for (const auto& [rank, i] : order) {
    sorted.push_back(items[i]);
    if (companions != nullptr) {
      sorted_beside.push_back(beside[i]);
    }
  }
  relink(array, sorted);
  if (companions != nullptr) {
    relink(*companions, sorted_beside);
  }
}

// Removes a node that holds nothing, and then the array that it leaves empty. A null of a primitive
// with a companion stays where an array needs it for alignment.
void TargetTree::prune(Node& node) {
  if (node.parent == nullptr || node.count > 0) {
    return;
  }
  if (node.kind != Kind::kObject && node.kind != Kind::kNull) {
    return;
  }
  Node* parent = node.parent;
  if (!parent->is_array()) {
    detach(node);
    return;
  }
  Node* object = parent->parent;
  const bool is_companion = !parent->name_text().empty() && parent->name_text().front() == '_';
  if (is_companion) {
    node.kind = Kind::kNull;
    bool any = false;
    for (const Node& beside : *parent) {
      any = any || !beside.is_null();
    }
    if (!any) {
      detach(*parent);
    }
    return;
  }
  Node* companions =
      object != nullptr && object->is_object() && parent->name != nullptr
          ? find_member(*object, document_.name("_" + std::string(parent->name->text)))
          : nullptr;
  if (companions != nullptr) {
    const std::size_t index = index_in_parent(node);
    Node* beside = const_cast<Node*>(item_at(*companions, index));
    if (beside != nullptr && !beside->is_null() && beside->count > 0) {
      return;
    }
    if (beside != nullptr) {
      detach(*beside);
    }
  }
  detach(node);
  if (parent->count == 0) {
    detach(*parent);
    if (companions != nullptr && companions->parent != nullptr) {
      detach(*companions);
    }
  }
}

void TargetTree::tidy() {
  std::vector<Node*> arrays;
  for (const Claim& claim : claims_) {
    if (std::find(arrays.begin(), arrays.end(), claim.array) == arrays.end()) {
      arrays.push_back(claim.array);
      reorder(*claim.array);
    }
  }
  claims_.clear();
  // Inner elements were made after the ones that hold them.
  for (auto node = watched_.rbegin(); node != watched_.rend(); ++node) {
    prune(**node);
  }
  watched_.clear();
}

}  // namespace engine::mapping
