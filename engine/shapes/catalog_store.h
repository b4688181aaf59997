#pragma once
// What a Catalog keeps behind its tables: texts, arenas, the canonical index. Private to the
// folder.

#include <cstdint>
#include <deque>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "engine/base/arena.h"
#include "engine/base/limits.h"
#include "engine/shapes/catalog.h"

namespace engine::shapes {

// Definitions of one kind by canonical.
template <class T>
class CanonicalIndex {
 public:
  struct Entry {
    std::string_view version;
    std::string_view package;
    bool is_retired = false;
    const T* item = nullptr;
  };
  // A definition of the same url and version takes the place of the earlier one.
  void add(std::string_view url, const Entry& entry) {
    std::vector<Entry>& entries = by_url_[url];
    for (Entry& known : entries) {
      if (known.version == entry.version) {
        known = entry;
        return;
      }
    }
    entries.push_back(entry);
  }
  const std::vector<Entry>* entries(std::string_view url) const {
    const auto known = by_url_.find(url);
    return known == by_url_.end() ? nullptr : &known->second;
  }

 private:
  std::unordered_map<std::string_view, std::vector<Entry>> by_url_;
};

// "url|version" apart; a fragment is dropped.
struct SplitCanonical {
  std::string_view url;
  std::string_view version;
};
SplitCanonical split_canonical(std::string_view canonical);

// Semantic version order; parts that are no numbers compare as texts, a pre-release is lower.
// Negative, zero, positive.
int compare_versions(std::string_view a, std::string_view b);

// Definitions disagree about the source of one and the same invariant, so it is no part of the key.
struct ConstraintKey {
  std::string_view key;
  std::string_view expression;
  bool is_error;
  bool operator==(const ConstraintKey&) const = default;
};
struct ConstraintKeyHash {
  std::size_t operator()(const ConstraintKey& k) const {
    return std::hash<std::string_view>()(k.key) ^ (std::hash<std::string_view>()(k.expression) * 3);
  }
};

struct Package {
  std::string_view id;                         // "name#version"
  std::vector<std::string_view> dependencies;  // "name#version", direct
};

struct CatalogStore {
  explicit CatalogStore(const json::NameTable& names) : values(names) {}

  base::Arena arena;
  std::deque<std::string> texts;  // fact files and definitions given to us
  json::Document values;          // fixed values, patterns, limits
  std::deque<CodeSystem> code_systems;
  std::deque<ValueSet> value_sets;
  std::deque<Shape> shapes;
  CanonicalIndex<Shape> shapes_by_url;
  CanonicalIndex<ValueSet> value_sets_by_url;
  CanonicalIndex<CodeSystem> code_systems_by_url;
  // The element that says what a value of a type looks like: the root of a base shape, or the
  // nested element itself.
  std::vector<const ShapeElement*> type_roots;
  std::unordered_map<ConstraintKey, ConstraintId, ConstraintKeyHash> constraint_ids;
  std::deque<Package> packages;
};

}  // namespace engine::shapes
