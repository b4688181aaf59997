#pragma once
// Code systems and value sets as membership tables. A value set is a list of parts; a part is a
// list of codes of one system, or everything of a system. Not a terminology service: systems whose
// content is not here (LOINC, SNOMED CT ...) answer kUnknown, never a guess.
// Immutable after load. Texts live as long as the Catalog that owns the tables.
// Source: FHIR R4 ValueSet.compose, CodeSystem.content and CodeSystem.hierarchyMeaning.

#include <cstdint>
#include <span>
#include <string_view>
#include <utility>
#include <vector>

namespace engine::shapes {

enum class Membership : std::uint8_t {
  kIn,
  kOut,
  kUnknown,  // cannot be decided with what is loaded; see ValueSet::why_unknown
};

// An open-addressing set of texts; the texts are borrowed.
class CodeTable {
 public:
  // Index of the code in insertion order, or -1. O(1).
  std::int32_t find(std::string_view code) const;
  void reserve(std::size_t count);
  // The index of the new or already known code.
  std::uint32_t add(std::string_view code);
  std::span<const std::string_view> codes() const { return codes_; }

 private:
  void rehash(std::size_t capacity);
  std::vector<std::string_view> codes_;
  std::vector<std::uint32_t> slots_;  // index + 1; 0 is free
};

struct CodeSystem {
  std::string_view url;
  std::string_view version;
  bool case_sensitive = true;
  bool complete = false;  // content = complete: a code that is not listed does not exist
  CodeTable codes;
  std::vector<std::int32_t> parent;  // by code index; -1 for a root
  // Further parents of codes that stand below several: child index, parent index.
  std::vector<std::pair<std::uint32_t, std::uint32_t>> also_below;

  bool has(std::string_view code) const { return codes.find(code) >= 0; }
  // True when code is ancestor or lies below it. False when either is unknown.
  bool is_below(std::string_view code, std::string_view ancestor) const;
};

struct ValueSetPart {
  enum class Kind : std::uint8_t {
    kCodes,        // exactly `codes` of `system`
    kWholeSystem,  // every code of `system`; known when code_system is loaded and complete
    kUnknown,      // a filter or an import that cannot be evaluated here (`reason`); system may be
                   // empty, then any system may be meant
  };
  Kind kind = Kind::kCodes;
  std::string_view system;
  CodeTable codes;
  const CodeSystem* code_system = nullptr;
  std::string_view reason;
};

// Expanded: imports are flattened and exclusions applied when the catalog is linked.
struct ValueSet {
  std::string_view url;
  std::string_view version;
  bool expandable = true;        // every part can be decided here
  std::string_view why_unknown;  // a sentence for people when not expandable
  std::vector<ValueSetPart> parts;

  // For Coding, and for Quantity's unit code. An empty system is never in a set (kOut).
  Membership contains(std::string_view system, std::string_view code) const;
  // For the FHIR type code, whose system is implied by the set.
  Membership contains_code(std::string_view code) const;
  // For uri and string typed elements: the code itself in any system.
  Membership contains_text(std::string_view text) const { return contains_code(text); }
  // The first codes, for messages: at most `max`.
  std::vector<std::string_view> sample(std::size_t max) const;
};

}  // namespace engine::shapes
