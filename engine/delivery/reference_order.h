#pragma once
// Which entries of a bundle refer to which, for landing them one after another: what is referred to
// first. The references are found once, so that a large bundle costs no more than its length. Not
// thread safe.

#include <cstddef>
#include <map>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "engine/json/document.h"
#include "engine/json/node.h"

namespace engine::delivery {

class ReferenceOrder {
 public:
  // Entries in the order of the bundle, then settle(). `resource` belongs to the document given to
  // point_to(), and outlives this.
  void add(std::string_view full_url, json::Node& resource);
  void settle();

  // Whether the entry refers to another one that has not landed.
  bool waits(std::size_t entry) const { return entries_[entry].waits_for > 0; }
  void landed(std::size_t entry);
  // Everything that refers to `from` refers to `resource` from now on.
  void point_to(json::Document& document, std::string_view from, std::string_view resource);
  // Conditional references ("Patient?identifier=..."), each once.
  const std::set<std::string>& searches() const { return searches_; }

 private:
  struct Entry {
    std::string full_url;
    std::size_t waits_for = 0;  // of the names below, those whose entries have not all landed
  };
  struct Name {
    std::vector<json::Node*> mentions;  // the texts of references
    std::set<std::size_t> entries;      // that refer to it
    std::size_t to_land = 0;            // entries of that name
  };

  void collect(json::Node& node);

  std::vector<Entry> entries_;
  std::map<std::string, Name, std::less<>> names_;
  std::set<std::string> searches_;
};

}  // namespace engine::delivery
