#pragma once
// Code translation tables: ConceptMaps from FHIR R4 JSON, from CSV, or embedded in a map. Immutable
// after load. Source: FHIR R4 ConceptMap, $translate; standards for which equivalences give a
// usable translation.

#include <cstdint>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "engine/base/result.h"
#include "engine/json/node.h"
#include "engine/mapping/ast.h"

namespace engine::mapping {

struct ConceptTarget {
  std::string system;
  std::string code;
  std::string display;
  bool usable =
      true;  // equal, equivalent, relatedto, wider, subsumes; the others need a person's eye
};

enum class TranslationStatus : std::uint8_t { kFound, kNoMatch, kAmbiguous, kUnusable };

struct Translation {
  TranslationStatus status = TranslationStatus::kNoMatch;
  const ConceptTarget* target = nullptr;  // when found by a row
  bool provided = false;                  // found by "unmapped: the code passes as it is"
};

class ConceptMap {
 public:
  std::string url;
  std::string id;
  std::string file;

  // A row. An empty source system answers for any. Errors: kInvalid for an unknown equivalence or
  // an empty code.
  base::Result<void> add(const std::string& source_system, const std::string& source_code,
                         ConceptTarget target, std::string_view equivalence);
  void pass_unmapped(const std::string& source_system) { provided_.push_back(source_system); }
  void set_fallback(ConceptTarget target) {
    fallback_ = std::move(target);
    has_fallback_ = true;
  }

  // An empty system asks for the code in any system.
  Translation translate(std::string_view system, std::string_view code) const;
  std::size_t row_count() const { return row_count_; }

 private:
  struct Row {
    std::string source_system;
    ConceptTarget target;
  };
  struct TextHash {
    using is_transparent = void;
    std::size_t operator()(std::string_view text) const {
      return std::hash<std::string_view>{}(text);
    }
  };
  std::unordered_map<std::string, std::vector<Row>, TextHash, std::equal_to<>> rows_;
  std::vector<std::string> provided_;
  ConceptTarget fallback_;
  bool has_fallback_ = false;
  std::size_t row_count_ = 0;
};

// Errors: kInvalid with where = the file and the JSON pointer.
base::Result<ConceptMap> read_concept_map(const json::Node& resource, const std::string& file);

// CSV (RFC 4180) whose first row names the columns, in any order: "source code", "target system",
// "code", "display", "equivalence"; "source system" may be there; "equivalence" empty means
// equivalent. Lines "# url = ..." and
// "# source = ..." before it give the table's url and the source system; without a url it is
// ConceptMap/<file stem>. Errors: kInvalid with where = "file:line:column".
base::Result<ConceptMap> read_concept_csv(std::string_view text, const std::string& file);

base::Result<ConceptMap> from_embedded(const EmbeddedConceptMap& table, const Map& map);

}  // namespace engine::mapping
