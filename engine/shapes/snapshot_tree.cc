#include "engine/shapes/snapshot_tree.h"

#include <unordered_map>
#include <utility>

namespace engine::shapes {

std::unique_ptr<SnapshotNode> SnapshotNode::clone() const {
  auto copy = std::make_unique<SnapshotNode>();
  copy->facts = facts;
  copy->segment = segment;
  copy->is_slice = is_slice;
  copy->unfolded = unfolded;
  for (const auto& child : children) {
    copy->children.push_back(child->clone());
  }
  for (const auto& slice : slices) {
    copy->slices.push_back(slice->clone());
  }
  return copy;
}

SnapshotNode* SnapshotNode::child(std::string_view wanted) const {
  for (const auto& node : children) {
    if (node->segment == wanted) {
      return node.get();
    }
  }
  return nullptr;
}

SnapshotNode* SnapshotNode::slice(std::string_view name) const {
  for (const auto& node : slices) {
    if (node->facts.slice_name == name) {
      return node.get();
    }
  }
  return nullptr;
}

std::unique_ptr<SnapshotNode> to_tree(const std::vector<ElementFacts>& elements) {
  std::unique_ptr<SnapshotNode> root;
  std::unordered_map<std::string_view, SnapshotNode*> by_id;
  for (const ElementFacts& facts : elements) {
    auto node = std::make_unique<SnapshotNode>();
    node->facts = facts;
    node->segment = facts.path.substr(facts.path.rfind('.') + 1);
    SnapshotNode* placed = node.get();
    if (root == nullptr) {
      root = std::move(node);
    } else {
      const std::size_t name_at = facts.id.size() - facts.slice_name.size();
      SnapshotNode* sliced = nullptr;
      if (!facts.slice_name.empty()) {
        const std::size_t slash = facts.slice_name.rfind('/');
        if (slash != std::string_view::npos) {
          const auto outer = by_id.find(facts.id.substr(0, name_at + slash));
          sliced = outer != by_id.end() ? outer->second : nullptr;
        }
        if (sliced == nullptr) {
          const auto plain = by_id.find(facts.id.substr(0, name_at - 1));
          sliced = plain != by_id.end() ? plain->second : nullptr;
        }
      }
      if (sliced != nullptr) {
        node->is_slice = true;
        sliced->slices.push_back(std::move(node));
      } else {
        const auto parent = by_id.find(facts.id.substr(0, facts.id.rfind('.')));
        if (parent == by_id.end()) {
          continue;
        }
        parent->second->children.push_back(std::move(node));
      }
    }
    by_id.emplace(facts.id, placed);
  }
  return root;
}

namespace {

struct ListWriter {
  std::vector<ElementFacts>& list;
  base::Arena& texts;

  // `path` and `id` are those of the node's parent.
  void write(const SnapshotNode& node, const std::string& parent_path, const std::string& parent_id,
             std::string_view name) {
    const std::string dot = parent_path.empty() ? "" : ".";
    const std::string path = parent_path + dot + std::string(name);
    std::string id = parent_id + dot + std::string(name);
    if (!node.facts.slice_name.empty()) {
      id += ":" + std::string(node.facts.slice_name);
    }
    ElementFacts& facts = list.emplace_back(node.facts);
    facts.path = copy_text(texts, path);
    facts.id = copy_text(texts, id);
    for (const auto& child : node.children) {
      write(*child, path, id, child->segment);
    }
    for (const auto& slice : node.slices) {
      write(*slice, parent_path, parent_id, name);
    }
  }
};

}  // namespace

std::vector<ElementFacts> to_list(const SnapshotNode& root, std::string_view root_name,
                                  base::Arena& texts) {
  std::vector<ElementFacts> list;
  ListWriter{list, texts}.write(root, "", "", root_name);
  return list;
}

std::size_t count_nodes(const SnapshotNode& node) {
  std::size_t count = 1;
  for (const auto& child : node.children) {
    count += count_nodes(*child);
  }
  for (const auto& slice : node.slices) {
    count += count_nodes(*slice);
  }
  return count;
}

}  // namespace engine::shapes
