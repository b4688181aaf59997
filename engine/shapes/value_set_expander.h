#pragma once
// Expands ValueSet definitions over the code systems at hand: include, exclude, concept lists,
// filters, imports. What needs a code system that is not here stays "unknown" with its reason, and
// is never guessed. Source: FHIR R4 ValueSet (composition rules).

#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "engine/base/arena.h"
#include "engine/base/result.h"
#include "engine/json/node.h"
#include "engine/shapes/catalog.h"
#include "engine/shapes/facts.h"

namespace engine::shapes {

class ValueSetExpander {
 public:
  // `known` answers for what is not added here. Texts go to the arena.
  ValueSetExpander(const Catalog& known, base::Arena& texts) : known_(known), texts_(texts) {}

  // Definitions that imports and filters may name; the nodes must stay.
  void add_code_system(const CodeSystemFacts& facts, const json::Node& definition);
  void add_value_set(const json::Node& definition);

  // Errors: kInvalid (no url, imports in a circle), kLimit.
  base::Result<ValueSetFacts> expand(const json::Node& definition);

 private:
  // What is known about one system within a set.
  struct SystemCodes {
    std::string_view system;
    std::vector<std::string_view> codes;  // each once, in order
    bool whole = false;
    bool unknown = false;
    std::string_view reason;  // of unknown
  };
  // A set of codes by system. The system "" with unknown set means: anything may be in it.
  using CodeSet = std::vector<SystemCodes>;
  struct Source {
    const CodeSystemFacts* facts = nullptr;
    const json::Node* definition = nullptr;
    CodeSystem table;  // for hierarchy
  };

  base::Result<CodeSet> compose(const json::Node& definition);
  base::Result<CodeSet> expand_include(const json::Node& include);
  base::Result<CodeSet> import_set(std::string_view canonical);
  CodeSet filtered(std::string_view system, const json::Node& filters);
  const CodeSystem* table_of(std::string_view system) const;
  CodeSet unknown_set(std::string_view system, std::string reason);
  static SystemCodes& at(CodeSet& set, std::string_view system);
  void unite(CodeSet& into, const CodeSet& from) const;
  CodeSet intersect(const CodeSet& a, const CodeSet& b);
  CodeSet subtract(const CodeSet& a, const CodeSet& b);
  static CodeSet set_of(const ValueSet& set);

  const Catalog& known_;
  base::Arena& texts_;
  std::unordered_map<std::string_view, Source> systems_;
  std::unordered_map<std::string_view, const json::Node*> sets_;
  std::unordered_map<const json::Node*, CodeSet> done_;
  std::vector<const json::Node*> open_;  // being expanded, to see circles
};

}  // namespace engine::shapes
