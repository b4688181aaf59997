#pragma once
// The working form of a snapshot while it is generated: a tree of elements, each with its children
// and, where it is sliced, its slices. Private to snapshot generation.

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/arena.h"
#include "engine/shapes/facts.h"

namespace engine::shapes {

struct SnapshotNode {
  ElementFacts facts;
  std::string_view segment;  // last part of the path: "value[x]"
  std::vector<std::unique_ptr<SnapshotNode>> children;
  std::vector<std::unique_ptr<SnapshotNode>> slices;
  // The element as the base has it, kept before the first change: new slices start from it.
  std::unique_ptr<SnapshotNode> pristine;
  bool is_slice = false;
  bool unfolded = false;  // its children were taken from its type

  std::unique_ptr<SnapshotNode> clone() const;
  SnapshotNode* child(std::string_view wanted) const;
  SnapshotNode* slice(std::string_view name) const;
  bool is_choice() const { return segment.ends_with("[x]"); }
};

// The tree of a snapshot; nullptr when the list is empty. An element whose parent is missing is
// left out.
std::unique_ptr<SnapshotNode> to_tree(const std::vector<ElementFacts>& elements);

// The list of a tree in snapshot order, with paths and ids written anew below `root_name`.
std::vector<ElementFacts> to_list(const SnapshotNode& root, std::string_view root_name,
                                  base::Arena& texts);

std::size_t count_nodes(const SnapshotNode& node);

}  // namespace engine::shapes
