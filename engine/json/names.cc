#include "engine/json/names.h"

#include <algorithm>

#include "engine/base/check.h"

namespace engine::json {

const Name* make_name(std::string_view text, std::uint32_t id, base::Arena& arena) {
  const bool plain = std::none_of(text.begin(), text.end(), [](char c) {
    return static_cast<unsigned char>(c) < 0x20 || c == '"' || c == '\\' || c == '~' || c == '/';
  });
  return arena.make<Name>(arena.copy(text), id, plain);
}

NameTable::NameTable() {
  rehash(4096);
}

const Name* NameTable::intern(std::string_view text) {
  const std::uint64_t h = hash(text);
  if (const Name* known = find_hashed(text, h)) {
    return known;
  }
  ENGINE_CHECK(!frozen_);
  const Name* name = make_name(text, static_cast<std::uint32_t>(names_.size()), arena_);
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
