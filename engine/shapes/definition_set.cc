#include "engine/shapes/definition_set.h"

#include <algorithm>
#include <utility>

#include "engine/base/limits.h"
#include "engine/shapes/catalog_store.h"
#include "engine/shapes/definition.h"
#include "engine/shapes/snapshot.h"
#include "engine/shapes/value_set_expander.h"
#include "engine/shapes/words.h"

namespace engine::shapes {

using base::Error;
using base::ErrorCode;
using base::Result;

DefinitionSet::DefinitionSet(const Catalog& known, base::Arena& texts, std::string_view package)
    : known_(known), texts_(texts), package_(package) {}

void DefinitionSet::report(const Error& error, std::string_view file) {
  fhir::Issue issue;
  issue.severity = fhir::Severity::kError;
  issue.code = error.code == ErrorCode::kUnsupported ? "not-supported" : "invalid";
  issue.expression = error.where;
  issue.text = error.detail + (error.where.empty() ? "" : " (" + error.where + ")");
  issue.rule = file;
  issues_.push_back(std::move(issue));
}

void DefinitionSet::add(std::string_view file, std::string_view text, std::string_view version) {
  json::Document document(known_.names());
  Result<void> parsed = document.parse(text);
  if (!parsed) {
    report({parsed.error().code, "not readable as JSON: " + parsed.error().detail,
            std::string(file) + ":" + parsed.error().where},
           file);
    return;
  }
  const json::Node& root = *documents_.emplace_back(std::move(document)).root();
  if (root.is_object()) {
    add_resource(root, copy_text(texts_, file), version);
  }
}

void DefinitionSet::add_resource(const json::Node& resource, std::string_view file,
                                 std::string_view version) {
  const std::string_view type = resource.string_at("resourceType");
  if (type == "Bundle") {
    const json::Node* entries = resource.find("entry");
    if (entries == nullptr || !entries->is_array()) {
      return;
    }
    for (const json::Node& entry : *entries) {
      if (const json::Node* inner = entry.find("resource");
          inner != nullptr && inner->is_object()) {
        add_resource(*inner, file, version);
      }
    }
    return;
  }
  if (type == "CodeSystem" && resource.string_at("content") != "supplement") {
    code_systems_.emplace_back(&resource, file);
  } else if (type == "ValueSet") {
    value_sets_.emplace_back(&resource, file);
  } else if (type == "StructureDefinition") {
    Structure& structure = structures_.emplace_back();
    structure.definition = &resource;
    structure.file = file;
    const std::string_view own = resource.string_at("version");
    structure.version = own.empty() ? version : own;
    by_url_[resource.string_at("url")].push_back(&structure);
  }
}

DefinitionSet::Structure* DefinitionSet::find(std::string_view canonical) {
  const SplitCanonical wanted = split_canonical(canonical);
  const auto known = by_url_.find(wanted.url);
  if (known == by_url_.end()) {
    return nullptr;
  }
  Structure* best = nullptr;
  for (Structure* structure : known->second) {
    const bool fits = wanted.version.empty() || structure->version == wanted.version;
    if (fits && (best == nullptr || compare_versions(structure->version, best->version) > 0)) {
      best = structure;
    }
  }
  return best;
}

Result<const ShapeFacts*> DefinitionSet::snapshot_of(std::string_view canonical) {
  std::string full;
  if (canonical.find(':') == std::string_view::npos) {
    full = std::string(kStructurePrefix) + std::string(canonical);
    canonical = full;
  }
  if (Structure* structure = find(canonical)) {
    Result<void> ready = read(*structure);
    if (!ready) {
      return std::move(ready).error();
    }
    return static_cast<const ShapeFacts*>(&structure->facts);
  }
  const Shape* shape = known_.find_shape(canonical, package_);
  if (shape == nullptr) {
    return static_cast<const ShapeFacts*>(nullptr);
  }
  const auto [at, is_new] = known_facts_.try_emplace(shape);
  if (is_new) {
    at->second = facts_of(*shape, known_, texts_);
  }
  return static_cast<const ShapeFacts*>(&at->second);
}

Result<void> DefinitionSet::read(Structure& structure) {
  using State = Structure::State;
  const std::string url(structure.definition->string_at("url"));
  switch (structure.state) {
    case State::kDone:
      return {};
    case State::kBroken:
      return Error(ErrorCode::kInvalid, "it builds on a definition that cannot be used", url);
    case State::kOpen:
      return Error(ErrorCode::kInvalid, "the definitions build on one another in a circle", url);
    case State::kUnread:
      break;
  }
  if (depth_ >= base::limits::kDefinitionChainMax) {
    return Error(ErrorCode::kLimit, "definitions build on one another too deeply", url);
  }
  structure.state = State::kOpen;
  ++depth_;
  const bool regenerate =
      ignore_published_ && structure.definition->string_at("derivation") == "constraint";
  const bool published = has_elements(*structure.definition, ElementList::kSnapshot) && !regenerate;
  Result<ShapeFacts> facts =
      published ? read_structure(*structure.definition, ElementList::kSnapshot, texts_)
                : generate(structure);
  --depth_;
  if (!facts) {
    structure.state = State::kBroken;
    report(facts.error(), structure.file);
    return std::move(facts).error();
  }
  structure.facts = std::move(*facts);
  if (structure.facts.version.empty()) {
    structure.facts.version = copy_text(texts_, structure.version);
  }
  structure.state = State::kDone;
  return {};
}

Result<ShapeFacts> DefinitionSet::generate(Structure& structure) {
  Result<ShapeFacts> differential =
      read_structure(*structure.definition, ElementList::kDifferential, texts_);
  if (!differential) {
    return differential;
  }
  SnapshotContext context{[this](std::string_view canonical) { return snapshot_of(canonical); },
                          texts_, issues_};
  return generate_snapshot(*differential, context);
}

void DefinitionSet::add_terminology(FactSet& set) {
  ValueSetExpander expander(known_, texts_);
  set.code_systems.reserve(code_systems_.size());
  for (const auto& [node, file] : code_systems_) {
    Result<CodeSystemFacts> facts = read_code_system(*node, texts_);
    if (!facts) {
      report(facts.error(), file);
      continue;
    }
    set.code_systems.push_back(std::move(*facts));
    expander.add_code_system(set.code_systems.back(), *node);
  }
  for (const auto& [node, file] : value_sets_) {
    expander.add_value_set(*node);
  }
  for (const auto& [node, file] : value_sets_) {
    Result<ValueSetFacts> facts = expander.expand(*node);
    if (!facts) {
      report(facts.error(), file);
      continue;
    }
    set.value_sets.push_back(std::move(*facts));
  }
}

FactSet DefinitionSet::facts() {
  FactSet set;
  set.package = package_;
  for (Structure& structure : structures_) {
    // Whatever is wrong is reported by read().
    if (Result<void> ready = read(structure); !ready) {
      continue;
    }
  }
  for (Structure& structure : structures_) {
    if (structure.state == Structure::State::kDone) {
      set.shapes.push_back(structure.facts);
    }
  }
  add_terminology(set);
  return set;
}

}  // namespace engine::shapes
