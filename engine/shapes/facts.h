#pragma once
// Facts: what a definition says, without its prose, in the form between FHIR JSON and the compiled
// tables. Snapshots are generated on facts; fact files are their printed form, one fact a line,
// sorted, so that a change of a standard can be reviewed as a small diff (docs:
// profiles/README.md). Texts are borrowed: from the fact file, or from the arena that the reader
// was given.

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "engine/base/arena.h"
#include "engine/base/result.h"
#include "engine/shapes/shape.h"

namespace engine::shapes {

// A copy that lives as long as the arena; an empty text, which many facts are, takes no room in it.
inline std::string_view copy_text(base::Arena& arena, std::string_view text) {
  return text.empty() ? std::string_view() : arena.copy(text);
}

// A value of a known FHIR type as compact JSON text; empty type = absent.
struct ValueFact {
  std::string_view type;  // "CodeableConcept", "uri"
  std::string_view json;
  bool present() const { return !type.empty(); }
  bool operator==(const ValueFact&) const = default;
};

struct TypeFact {
  std::string_view code;  // "Quantity", "System.String", "BackboneElement"
  std::vector<std::string_view> profiles;
  std::vector<std::string_view> targets;
  std::uint8_t aggregation = 0;  // Aggregation bits
  TypeRef::Versioning versioning = TypeRef::Versioning::kEither;
  bool operator==(const TypeFact&) const = default;
};

struct ConstraintFact {
  std::string_view key;
  std::string_view expression;
  std::string_view source;
  bool is_error = true;
  bool best_practice = false;
};

struct DiscriminatorFact {
  DiscriminatorKind kind = DiscriminatorKind::kValue;
  std::string_view path;
  bool operator==(const DiscriminatorFact&) const = default;
};

struct SlicingFact {
  std::vector<DiscriminatorFact> discriminators;
  SlicingRules rules = SlicingRules::kOpen;
  bool ordered = false;
  bool present = false;
  bool has_rules = false;  // in a differential: rules were stated
};

struct BindingFact {
  bool present = false;
  Strength strength = Strength::kExample;
  std::string_view value_set;
  std::string_view max_value_set;
};

// In a snapshot min and max are always set; in a differential only when has_min, has_max say so.
struct ElementFacts {
  std::string_view id;  // with slice names
  std::string_view path;
  std::string_view slice_name;
  std::uint32_t min = 0;
  std::uint32_t max = kUnbounded;
  std::uint32_t base_max = kUnbounded;
  bool has_min = false;
  bool has_max = false;
  bool must_support = false;
  bool has_must_support = false;
  bool is_modifier = false;
  bool has_is_modifier = false;
  bool is_summary = false;
  std::vector<TypeFact> types;
  bool any_type = false;  // read from a fact file: every type the base admits; then types is empty
  std::string_view content_reference;
  BindingFact binding;
  ValueFact fixed;
  ValueFact pattern;
  ValueFact min_value;
  ValueFact max_value;
  std::uint32_t length_max = 0;
  std::vector<ConstraintFact> constraints;
  SlicingFact slicing;
};

struct ContextFact {
  ExtensionContext::Kind kind = ExtensionContext::Kind::kElement;
  std::string_view expression;
};

struct ShapeFacts {
  std::string_view url;
  std::string_view version;
  std::string_view name;
  std::string_view type;  // "Observation"; the last part of the url for a logical model
  TypeKind kind = TypeKind::kComplex;
  bool is_profile = false;
  bool is_abstract = false;
  bool is_retired = false;
  std::string_view base;
  std::vector<ContextFact> contexts;
  std::vector<std::string_view> context_invariants;
  std::vector<ElementFacts> elements;
};

struct CodeFact {
  std::string_view code;
  std::uint32_t depth = 0;  // below the nearest preceding code of a smaller depth
};

struct CodeSystemFacts {
  std::string_view url;
  std::string_view version;
  bool case_sensitive = true;
  bool complete = false;
  std::vector<CodeFact> codes;
  // Further parents, of codes that stand below several: child, parent.
  std::vector<std::pair<std::string_view, std::string_view>> also_below;
};

// Expanded: imports flattened, exclusions applied.
struct ValueSetFacts {
  struct Part {
    ValueSetPart::Kind kind = ValueSetPart::Kind::kCodes;
    std::string_view system;
    std::vector<std::string_view> codes;
    std::string_view reason;
  };
  std::string_view url;
  std::string_view version;
  std::vector<Part> parts;
};

struct FactSet {
  std::string_view package;                    // "hl7.fhir.r4.core#4.0.1"; empty when none is named
  std::vector<std::string_view> dependencies;  // of the package, "name#version"
  std::vector<ShapeFacts> shapes;
  std::vector<CodeSystemFacts> code_systems;
  std::vector<ValueSetFacts> value_sets;
  std::vector<BindingException> exceptions;  // read only: written by hand, never compiled
};

// Reads a fact file; views point into text, or into `texts` where a shortened canonical had to be
// written out. Errors: kInvalid with where = "file:line"; kUnsupported for another format version.
base::Result<FactSet> read_facts(std::string_view file, std::string_view text, base::Arena& texts);

// Prints facts, sorted by canonical; read_facts(print_facts(f)) gives f again, except that the
// invariants every element has (ele-1, and ext-1 on extensions) are left out below the roots.
std::string print_facts(const FactSet& facts);

// "Observation.component:a.code" -> "Observation.component.code"; the id itself when it names no
// slice.
std::string_view path_of_id(std::string_view id, base::Arena& texts);
// "" unless the last segment of the id names a slice.
std::string_view slice_name_of_id(std::string_view id);

}  // namespace engine::shapes
