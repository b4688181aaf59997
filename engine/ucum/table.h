#pragma once
// Inside of a UnitTable: the rows, and one hash index over every symbol with every prefix it may
// carry, so that a symbol of a code is one look-up. Not for other folders.

#include <array>
#include <cstring>
#include <string>
#include <vector>

#include "engine/base/limits.h"
#include "engine/ucum/ucum.h"

namespace engine::ucum {

struct Atom {
  std::string symbol;
  std::string name;
  Unit unit;
  bool metric = false;
  bool known = false;  // its definition has been worked out
};

struct Prefix {
  std::string symbol;
  std::string name;
  PrefixFact fact;
};

// A symbol as written, zero-padded.
struct SymbolKey {
  static constexpr std::size_t kWords = base::limits::kUnitSymbolBytesMax / 8;
  std::array<std::uint64_t, kWords> words{};

  // False for a text longer than any symbol.
  static bool make(std::string_view text, SymbolKey& out) {
    if (text.empty() || text.size() > sizeof(out.words)) {
      return false;
    }
    out.words = {};
    std::memcpy(out.words.data(), text.data(), text.size());
    return true;
  }
  std::string_view text() const {
    const std::string_view padded(reinterpret_cast<const char*>(words.data()), sizeof(words));
    return padded.substr(0, padded.find('\0'));
  }
  std::size_t hash() const {
    std::uint64_t h = words[0] * 0x9E3779B97F4A7C15ULL;
    h ^= (words[1] + 0x165667B19E3779F9ULL * words[2]) * 0xC2B2AE3D27D4EB4FULL;
    return static_cast<std::size_t>((h ^ (h >> 29)) * 0xBF58476D1CE4E5B9ULL >> 32);
  }
  friend bool operator==(const SymbolKey&, const SymbolKey&) = default;
};

struct Entry {
  SymbolKey key;
  std::uint16_t atom = 0;
  std::uint16_t prefix = 0;  // index + 1; 0 for none
};

struct Rows {
  std::vector<Prefix> prefixes;
  std::vector<Atom> atoms;
  std::vector<Entry> entries;
  std::vector<std::uint16_t> slots;  // index + 1 into entries; a power of two, at most half full

  const Entry* find(std::string_view symbol) const {
    SymbolKey key;
    if (!SymbolKey::make(symbol, key)) {
      return nullptr;
    }
    const std::size_t mask = slots.size() - 1;
    for (std::size_t at = key.hash() & mask;; at = (at + 1) & mask) {
      if (slots[at] == 0) {
        return nullptr;
      }
      const Entry& entry = entries[slots[at] - 1U];
      if (entry.key == key) {
        return &entry;
      }
    }
  }
};

// Our own facts (facts.cc).
std::span<const PrefixFact> standard_prefixes();
std::span<const UnitFact> standard_units();

}  // namespace engine::ucum
