#pragma once
// What is known of nodes by where they lie in memory: a table and a filter in front of it. For one
// walk over trees that nobody changes meanwhile.

#include <array>
#include <cstddef>
#include <cstdint>
#include <utility>
#include <vector>

#include "engine/json/node.h"

namespace engine::mapping {

// A table from nodes to numbers, filled once: linear probing, at most half full.
class NodeTable {
 public:
  explicit NodeTable(std::size_t count) {
    std::size_t size = 64;
    while (size < 2 * count) {
      size *= 2;
    }
    slots_.resize(size);
  }
  // The number of a node, or `fresh` when it had none and has that one now.
  std::uint32_t add(const json::Node* node, std::uint32_t fresh) {
    Slot& slot = slots_[place(node)];
    if (slot.node == nullptr) {
      if (2 * ++count_ > slots_.size()) {
        grow();
        return add(node, fresh);
      }
      slot = {node, fresh};
    }
    return slot.number;
  }
  const std::uint32_t* find(const json::Node* node) const {
    const Slot& slot = slots_[place(node)];
    return slot.node == nullptr ? nullptr : &slot.number;
  }

 private:
  struct Slot {
    const json::Node* node = nullptr;
    std::uint32_t number = 0;
  };
  std::size_t place(const json::Node* node) const {
    // Nodes lie 64 bytes apart in their arena, so the bits above tell them apart.
    std::size_t at = (reinterpret_cast<std::uintptr_t>(node) >> 6) * 0x9E3779B97F4A7C15ULL >> 20;
    for (;; ++at) {
      const Slot& slot = slots_[at & (slots_.size() - 1)];
      if (slot.node == node || slot.node == nullptr) {
        return at & (slots_.size() - 1);
      }
    }
  }
  void grow() {
    std::vector<Slot> old = std::move(slots_);
    slots_.assign(old.size() * 2, Slot());
    count_ = 0;
    for (const Slot& slot : old) {
      if (slot.node != nullptr) {
        add(slot.node, slot.number);
      }
    }
  }

  std::vector<Slot> slots_;
  std::size_t count_ = 0;
};

// A set that may say yes for a node that is not in it, and never no for one that is. Small enough
// to stay in the processor's nearest cache, where the table is not.
class NodeFilter {
 public:
  void add(const json::Node* node) { words_[place(node) / 64] |= bit(node); }
  bool may_have(const json::Node* node) const {
    return (words_[place(node) / 64] & bit(node)) != 0;
  }

 private:
  static constexpr std::size_t kBits = std::size_t{1} << 15;
  static std::size_t place(const json::Node* node) {
    return (reinterpret_cast<std::uintptr_t>(node) >> 6) & (kBits - 1);
  }
  static std::uint64_t bit(const json::Node* node) { return std::uint64_t{1} << place(node) % 64; }
  std::array<std::uint64_t, kBits / 64> words_ = {};
};

}  // namespace engine::mapping
