// What is left to do when the last rule has fired: list modes, and the removal of what was created
// and never filled. Linear in what was made.

#include <algorithm>
#include <unordered_map>
#include <unordered_set>
#include <utility>
#include <vector>

#include "engine/mapping/target_tree.h"

namespace engine::mapping {

using json::Document;
using json::Kind;
using json::Node;

namespace {

std::vector<Node*> children_of(Node& parent) {
  std::vector<Node*> children;
  for (Node* child = parent.first; child != nullptr; child = child->next) {
    children.push_back(child);
  }
  return children;
}

void relink(Node& parent, const std::vector<Node*>& children) {
  parent.first = parent.last = nullptr;
  parent.count = 0;
  for (Node* child : children) {
    Document::append(&parent, child);
  }
}

// The array of companions beside an array of primitives; nullptr when there is none.
Node* companions_of(Document& document, const Node& array) {
  Node* object = array.parent;
  if (object == nullptr || !object->is_object() || array.name == nullptr) {
    return nullptr;
  }
  return const_cast<Node*>(
      std::as_const(*object).find(document.name("_" + std::string(array.name->text))));
}

// What goes is counted out of its parent at once and unlinked with all others at the end, so that
// neither a long list nor the order in which its items go costs more than one walk.
class Pruning {
 public:
  explicit Pruning(Document& document) : document_(document) {}

  void look_at(Node& node);
  void unlink_gone();

 private:
  // An array of primitives with companions: which items belong together.
  struct Aligned {
    Node* companions = nullptr;
    std::vector<Node*> beside;
    std::unordered_map<const Node*, std::size_t> index;
  };

  const Aligned& aligned(Node& array);
  std::size_t& filled(Node& companions);
  void empty_companion(Node& node);
  void remove(Node& node);

  Document& document_;
  std::unordered_set<const Node*> gone_;
  std::vector<Node*> parents_;  // of what is gone, some several times
  std::unordered_map<const Node*, Aligned> aligned_;
  std::unordered_map<const Node*, std::size_t> filled_;
};

void Pruning::remove(Node& node) {
  if (node.parent == nullptr || !gone_.insert(&node).second) {
    return;
  }
  --node.parent->count;
  if (parents_.empty() || parents_.back() != node.parent) {
    parents_.push_back(node.parent);
  }
}

const Pruning::Aligned& Pruning::aligned(Node& array) {
  const auto [at, fresh] = aligned_.try_emplace(&array);
  Aligned& made = at->second;
  if (fresh) {
    made.companions = companions_of(document_, array);
    if (made.companions != nullptr) {
      made.beside = children_of(*made.companions);
      for (const Node& item : array) {
        made.index.emplace(&item, made.index.size());
      }
    }
  }
  return made;
}

// How many of an array of companions are more than a null that keeps the place.
std::size_t& Pruning::filled(Node& companions) {
  const auto [at, fresh] = filled_.try_emplace(&companions, 0);
  if (fresh) {
    for (const Node& item : companions) {
      at->second += item.is_null() || gone_.count(&item) != 0 ? 0U : 1U;
    }
  }
  return at->second;
}

// Keeps the place of its primitive, unless no other companion is left.
void Pruning::empty_companion(Node& node) {
  Node& companions = *node.parent;
  std::size_t& left = filled(companions);
  left -= node.is_null() ? 0U : 1U;
  node.kind = Kind::kNull;
  if (left == 0) {
    remove(companions);
  }
}

// Removes a node that holds nothing, and then the array that it leaves empty. A null of a primitive
// with a companion stays where an array needs it for alignment.
void Pruning::look_at(Node& node) {
  if (node.parent == nullptr || node.count > 0 || gone_.count(&node) != 0 ||
      (node.kind != Kind::kObject && node.kind != Kind::kNull)) {
    return;
  }
  Node& parent = *node.parent;
  if (!parent.is_array()) {
    remove(node);
    return;
  }
  if (!parent.name_text().empty() && parent.name_text().front() == '_') {
    empty_companion(node);
    return;
  }
  const Aligned& known = aligned(parent);
  Node* companions = known.companions;
  if (companions != nullptr && gone_.count(companions) == 0) {
    const std::size_t index = known.index.at(&node);
    Node* beside = index < known.beside.size() ? known.beside[index] : nullptr;
    if (beside != nullptr && !beside->is_null() && beside->count > 0) {
      return;
    }
    if (beside != nullptr) {
      filled(*companions) -= beside->is_null() ? 0U : 1U;
      remove(*beside);
    }
  }
  remove(node);
  if (parent.count == 0) {
    remove(parent);
    if (companions != nullptr) {
      remove(*companions);
    }
  }
}

void Pruning::unlink_gone() {
  std::unordered_set<const Node*> done;
  for (Node* parent : parents_) {
    if (!done.insert(parent).second) {
      continue;
    }
    std::vector<Node*> left;
    for (Node* child : children_of(*parent)) {
      if (gone_.count(child) == 0) {
        left.push_back(child);
      } else {
        child->next = nullptr;
        child->parent = nullptr;
      }
    }
    relink(*parent, left);
  }
}

}  // namespace

// First-claimed items, then the others, then last-claimed ones, each in the order they were made.
// Companions go along.
void TargetTree::reorder(Node& array, const Claims& claims) {
  const std::vector<Node*> items = children_of(array);
  std::vector<std::pair<int, std::size_t>> order;
  for (std::size_t i = 0; i < items.size(); ++i) {
    const auto claimed = claims.items.find(items[i]);
    const int rank = claimed == claims.items.end() ? 1 : claimed->second == End::kFirst ? 0 : 2;
    order.emplace_back(rank, i);
  }
  std::stable_sort(order.begin(), order.end(),
                   [](const auto& a, const auto& b) { return a.first < b.first; });
  Node* companions = companions_of(document_, array);
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

void TargetTree::tidy() {
  for (const auto& [array, claims] : claims_) {
    reorder(*array, claims);
  }
  claims_.clear();
  Pruning pruning(document_);
  // Inner elements were made after the ones that hold them.
  for (auto node = watched_.rbegin(); node != watched_.rend(); ++node) {
    pruning.look_at(**node);
  }
  watched_.clear();
  pruning.unlink_gone();
}

}  // namespace engine::mapping
