#pragma once
// FHIR JSON definitions of a package, a folder, a request, turned into facts together: they may
// refer to one another in any order. One broken definition does not spoil the others.

#include <deque>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "engine/base/arena.h"
#include "engine/base/result.h"
#include "engine/fhir/issue.h"
#include "engine/json/document.h"
#include "engine/shapes/catalog.h"
#include "engine/shapes/facts.h"

namespace engine::shapes {

class DefinitionSet {
 public:
  // `known` answers for what is not in the set; an unversioned canonical means what `package`
  // depends on first. Texts of the facts go to the arena.
  DefinitionSet(const Catalog& known, base::Arena& texts, std::string_view package);

  // A JSON text with a definition or a Bundle of them; other resources are passed over. `version`
  // stands in where a definition has none of its own.
  void add(std::string_view file, std::string_view text, std::string_view version = {});

  // Generate the snapshots of profiles even where they came with one.
  void ignore_published_snapshots() { ignore_published_ = true; }

  // Everything as facts. Call once.
  FactSet facts();
  // The snapshot facts of one definition of the set or of the catalog.
  base::Result<const ShapeFacts*> snapshot_of(std::string_view canonical);

  const fhir::Issues& issues() const { return issues_; }
  std::size_t structures() const { return structures_.size(); }

 private:
  struct Structure {
    const json::Node* definition = nullptr;
    std::string_view file;
    std::string_view version;
    enum class State : std::uint8_t { kUnread, kOpen, kDone, kBroken } state = State::kUnread;
    ShapeFacts facts;
  };

  void add_resource(const json::Node& resource, std::string_view file, std::string_view version);
  base::Result<void> read(Structure& structure);
  base::Result<ShapeFacts> generate(Structure& structure);
  Structure* find(std::string_view canonical);
  void report(const base::Error& error, std::string_view file);
  void add_terminology(FactSet& set);

  const Catalog& known_;
  base::Arena& texts_;
  std::string_view package_;
  bool ignore_published_ = false;
  std::deque<json::Document> documents_;
  std::deque<Structure> structures_;
  std::unordered_map<std::string_view, std::vector<Structure*>> by_url_;
  std::vector<std::pair<const json::Node*, std::string_view>> code_systems_;  // node, file
  std::vector<std::pair<const json::Node*, std::string_view>> value_sets_;
  std::unordered_map<const Shape*, ShapeFacts> known_facts_;
  fhir::Issues issues_;
  std::size_t depth_ = 0;
};

// The facts of a compiled shape again. Below the root, invariants that the element's type has
// anyway are left out.
ShapeFacts facts_of(const Shape& shape, const Catalog& catalog, base::Arena& texts);

}  // namespace engine::shapes
