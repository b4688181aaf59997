#pragma once
// The table of known member names. Filled while shapes and maps are loaded, then frozen: a frozen
// table is read from many threads, and documents parsed with it share its Name pointers, so that
// comparing names is comparing pointers.

#include <cstddef>
#include <cstdint>
#include <string_view>
#include <vector>

#include "engine/base/arena.h"
#include "engine/json/node.h"

namespace engine::json {

class NameTable {
 public:
  NameTable();
  NameTable(const NameTable&) = delete;
  NameTable& operator=(const NameTable&) = delete;

  // The name, added when new. Not after freeze().
  const Name* intern(std::string_view text);
  // nullptr when unknown.
  const Name* find(std::string_view text) const { return find_hashed(text, hash(text)); }
  std::size_t size() const { return names_.size(); }
  const Name& at(std::uint32_t id) const { return *names_[id]; }
  void freeze() { frozen_ = true; }
  bool frozen() const { return frozen_; }

  static std::uint64_t hash(std::string_view text);
  const Name* find_hashed(std::string_view text, std::uint64_t hash) const;

 private:
  void rehash(std::size_t capacity);

  struct Slot {
    std::uint64_t hash = 0;
    const Name* name = nullptr;
  };
  base::Arena arena_;
  std::vector<const Name*> names_;
  std::vector<Slot> slots_;  // open addressing, a power of two, at most half full
  bool frozen_ = false;
};

}  // namespace engine::json
