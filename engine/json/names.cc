#include "engine/json/names.h"

#include <cstring>

#include "engine/base/check.h"

namespace engine::json {

NameTable::NameTable() {
  rehash(4096);
}

std::uint64_t NameTable::hash(std::string_view text) {
  // Member names are short: the first and the last eight bytes and the length tell nearly all of
  // FHIR's apart.
  std::uint64_t head = 0;
  std::uint64_t tail = 0;
  const std::size_t n = text.size();
  if (n >= 8) {
    std::memcpy(&head, text.data(), 8);
    std::memcpy(&tail, text.data() + n - 8, 8);
  } else if (n != 0) {
    std::memcpy(&head, text.data(), n);
  }
  std::uint64_t h = (head ^ (n * 0x9E3779B97F4A7C15ULL)) * 0xBF58476D1CE4E5B9ULL;
  h ^= (tail + (h >> 29)) * 0x94D049BB133111EBULL;
  return h ^ (h >> 32);
}

const Name* NameTable::find_hashed(std::string_view text, std::uint64_t hash) const {
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

const Name* NameTable::intern(std::string_view text) {
  const std::uint64_t h = hash(text);
  if (const Name* known = find_hashed(text, h)) {
    return known;
  }
  ENGINE_CHECK(!frozen_);
  const Name* name =
      arena_.make<Name>(arena_.copy(text), static_cast<std::uint32_t>(names_.size()));
  names_.push_back(name);
  if (names_.size() * 2 > slots_.size()) {
    rehash(slots_.size() * 2);
  } else {
    const std::size_t mask = slots_.size() - 1;
    std::size_t i = h & mask;
    while (slots_[i].name != nullptr) {
      i = (i + 1) & mask;
    }
    slots_[i] = {h, name};
  }
  return name;
}

void NameTable::rehash(std::size_t capacity) {
  slots_.assign(capacity, Slot{});
  const std::size_t mask = capacity - 1;
  for (const Name* name : names_) {
    const std::uint64_t h = hash(name->text);
    std::size_t i = h & mask;
    while (slots_[i].name != nullptr) {
      i = (i + 1) & mask;
    }
    slots_[i] = {h, name};
  }
}

}  // namespace engine::json
