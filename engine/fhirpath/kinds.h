#pragma once
// What is known of a collection before anything is evaluated. Internal to the analysis.

#include <algorithm>
#include <cstdint>
#include <vector>

#include "engine/fhirpath/item.h"

namespace engine::fhirpath {

struct Kinds {
  bool known = false;  // only these types can occur
  bool ordered = true;
  std::uint32_t systems = 0;  // a bit for each ItemKind
  std::vector<shapes::TypeId> nodes;

  static Kinds of_system(ItemKind kind) {
    Kinds kinds;
    kinds.known = true;
    kinds.systems = 1U << static_cast<unsigned>(kind);
    return kinds;
  }
  static Kinds of_node(shapes::TypeId type) {
    Kinds kinds;
    kinds.known = type != shapes::kNoType;
    if (kinds.known) {
      kinds.nodes.push_back(type);
    }
    return kinds;
  }
  static Kinds nothing() {
    Kinds kinds;
    kinds.known = true;
    return kinds;
  }
  void add(shapes::TypeId type) {
    if (type == shapes::kNoType) {
      known = false;
    } else if (std::find(nodes.begin(), nodes.end(), type) == nodes.end()) {
      nodes.push_back(type);
    }
  }
  Kinds united_with(const Kinds& other) const {
    Kinds both = *this;
    both.known = known && other.known;
    both.ordered = ordered && other.ordered;
    both.systems |= other.systems;
    for (const shapes::TypeId type : other.nodes) {
      both.add(type);
    }
    return both;
  }
  bool is_one_node_type() const { return known && systems == 0 && nodes.size() == 1; }
  bool can_be_nothing_else_than_empty() const { return known && systems == 0 && nodes.empty(); }
};

}  // namespace engine::fhirpath
