#pragma once
// The table of known member names. Filled while shapes and maps are loaded, then frozen: a frozen
// table is read from many threads, and documents parsed with it share its Name pointers, so that
// comparing names is comparing pointers.

#include <cstddef>
#include <cstdint>
#include <cstring>
#include <string_view>
#include <vector>

#include "engine/base/arena.h"
#include "engine/json/node.h"

namespace engine::json {

// A name whose text is copied into the arena.
const Name* make_name(std::string_view text, std::uint32_t id, base::Arena& arena);

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

  // Member names are short: the first and the last eight bytes and the length tell nearly all of
  // FHIR's apart.
  static std::uint64_t hash(std::string_view text) {
    std::uint64_t head = 0;
    std::uint64_t tail = 0;
    const std::size_t n = text.size();
    if (n >= 8) {
      std::memcpy(&head, text.data(), 8);
      std::memcpy(&tail, text.data() + n - 8, 8);
    } else if (n >= 4) {
      std::uint32_t low = 0;
      std::uint32_t high = 0;
      std::memcpy(&low, text.data(), 4);
      std::memcpy(&high, text.data() + n - 4, 4);
      head = low | (std::uint64_t{high} << 32);
    } else if (n != 0) {
      const auto byte = [&](std::size_t i) {
        return std::uint64_t{static_cast<unsigned char>(text[i])};
      };
      head = byte(0) | (byte(n / 2) << 8) | (byte(n - 1) << 16);
    }
    std::uint64_t h = (head ^ (n * 0x9E3779B97F4A7C15ULL)) * 0xBF58476D1CE4E5B9ULL;
    h ^= (tail + (h >> 29)) * 0x94D049BB133111EBULL;
    return h ^ (h >> 32);
  }
  const Name* find_hashed(std::string_view text, std::uint64_t hash) const {
    const std::size_t mask = slots_.size() - 1;
    for (std::size_t i = hash & mask;; i = (i + 1) & mask) {
      const Slot& slot = slots_[i];
      if (slot.name == nullptr) {
        return nullptr;
      }
      if (slot.hash == hash && slot.name->text == text) {
        return slot.name;
      }
    }
  }

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
