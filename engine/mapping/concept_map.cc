#include "engine/mapping/concept_map.h"

#include <array>
#include <utility>

#include "engine/base/limits.h"
#include "engine/json/write.h"

namespace engine::mapping {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

// FHIR R4 concept-map-equivalence, and whether the target may stand for the source without a
// person's decision.
constexpr std::array<std::pair<std::string_view, bool>, 10> kEquivalences = {{
    {"relatedto", true},
    {"equivalent", true},
    {"equal", true},
    {"wider", true},
    {"subsumes", true},
    {"narrower", false},
    {"specializes", false},
    {"inexact", false},
    {"unmatched", false},
    {"disjoint", false},
}};

}  // namespace

Result<void> ConceptMap::add(const std::string& source_system, const std::string& source_code,
                             ConceptTarget target, std::string_view equivalence) {
  if (source_code.empty()) {
    return Error(ErrorCode::kInvalid, "the source code is missing");
  }
  bool known = false;
  for (const auto& [name, usable] : kEquivalences) {
    if (name == equivalence) {
      known = true;
      target.usable = usable;
    }
  }
  if (!known) {
    return Error(
        ErrorCode::kInvalid,
        "'" + std::string(equivalence) +
            "' is no equivalence: relatedto, equivalent, equal, wider, subsumes, narrower, "
            "specializes, inexact, unmatched and disjoint are");
  }
  if (target.code.empty() && target.usable) {
    return Error(ErrorCode::kInvalid, "the target code is missing");
  }
  if (++row_count_ > base::limits::kConceptMapRowsMax) {
    return Error(ErrorCode::kLimit, "the table has too many rows");
  }
  rows_[source_code].push_back({source_system, std::move(target)});
  return {};
}

Translation ConceptMap::translate(std::string_view system, std::string_view code) const {
  Translation found;
  std::size_t usable = 0;
  bool any = false;
  const auto at = rows_.find(code);
  if (at != rows_.end()) {
    for (const Row& row : at->second) {
      if (!system.empty() && !row.source_system.empty() && row.source_system != system) {
        continue;
      }
      any = true;
      const bool same = found.target != nullptr && found.target->system == row.target.system &&
                        found.target->code == row.target.code;
      if (row.target.usable && !same) {
        ++usable;
        found.target = &row.target;
      }
    }
  }
  if (any) {
    found.status = usable == 1   ? TranslationStatus::kFound
                   : usable == 0 ? TranslationStatus::kUnusable
                                 : TranslationStatus::kAmbiguous;
    return found;
  }
  for (const std::string& provided : provided_) {
    if (provided.empty() || system.empty() || provided == system) {
      found.status = TranslationStatus::kFound;
      found.provided = true;
      return found;
    }
  }
  if (has_fallback_) {
    found.status = TranslationStatus::kFound;
    found.target = &fallback_;
  }
  return found;
}

namespace {

Error wrong(const std::string& file, const json::Node& at, std::string detail) {
  return Error(ErrorCode::kInvalid, std::move(detail), file + " " + json::pointer_of(at));
}

Result<void> read_element(ConceptMap& map, const json::Node& element, const std::string& source,
                          const std::string& target_system) {
  const std::string code(element.string_at("code"));
  const json::Node* targets = element.find("target");
  if (targets == nullptr || !targets->is_array()) {
    return map.add(source, code, {}, "unmatched");
  }
  for (const json::Node& target : *targets) {
    ConceptTarget to{target_system, std::string(target.string_at("code")),
                     std::string(target.string_at("display"))};
    Result<void> added = map.add(source, code, std::move(to), target.string_at("equivalence"));
    if (!added) {
      return wrong(map.file, target, added.error().detail);
    }
  }
  return {};
}

// R4: provided, fixed, other-map.
Result<void> read_unmapped(ConceptMap& map, const json::Node& unmapped, const std::string& source,
                           const std::string& target_system) {
  const std::string_view mode = unmapped.string_at("mode");
  if (mode == "provided") {
    map.pass_unmapped(source);
    return {};
  }
  if (mode == "fixed") {
    map.set_fallback({target_system, std::string(unmapped.string_at("code")),
                      std::string(unmapped.string_at("display"))});
    return {};
  }
  return wrong(map.file, unmapped,
               "unmapped.mode 'provided' and 'fixed' are served, '" + std::string(mode) +
                   "' is not: name the other table in the map");
}

}  // namespace

Result<ConceptMap> read_concept_map(const json::Node& resource, const std::string& file) {
  ConceptMap map;
  map.file = file;
  map.url = resource.string_at("url");
  map.id = resource.string_at("id");
  const json::Node* groups = resource.find("group");
  if (groups == nullptr || !groups->is_array()) {
    return wrong(file, resource, "this ConceptMap has no group");
  }
  for (const json::Node& group : *groups) {
    const std::string source(group.string_at("source"));
    const std::string target(group.string_at("target"));
    const json::Node* elements = group.find("element");
    if (elements != nullptr && elements->is_array()) {
      for (const json::Node& element : *elements) {
        Result<void> read = read_element(map, element, source, target);
        if (!read) {
          Error error = std::move(read).error();
          return error.where.empty() ? wrong(file, element, error.detail) : error;
        }
      }
    }
    const json::Node* unmapped = group.find("unmapped");
    if (unmapped != nullptr) {
      Result<void> read = read_unmapped(map, *unmapped, source, target);
      if (!read) {
        return std::move(read).error();
      }
    }
  }
  return map;
}

Result<ConceptMap> from_embedded(const EmbeddedConceptMap& table, const Map& map) {
  ConceptMap result;
  result.file = map.file;
  result.id = table.id;
  result.url = map.url + "#" + table.id;
  for (const EmbeddedConcept& row : table.concepts) {
    Result<void> added = result.add(row.source_system, row.source_code,
                                    {row.target_system, row.target_code, {}}, row.equivalence);
    if (!added) {
      return Error(ErrorCode::kInvalid, added.error().detail, place_text(map.file, table.place));
    }
  }
  for (const std::string& system : table.provided_systems) {
    result.pass_unmapped(system);
  }
  return result;
}

}  // namespace engine::mapping
