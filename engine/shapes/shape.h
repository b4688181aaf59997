#pragma once
// Compiled shapes: one Shape a StructureDefinition (base type, resource, profile, extension,
// logical model), its snapshot flattened into a tree of ShapeElements. Made for a checker that
// walks the JSON tree once with a few active ShapeElements in hand: every step from an element to
// the constraint on a child is an array index, every comparison of names a pointer comparison.
// Immutable after Catalog::load/add; pointers stay valid as long as the Catalog.
//
// How a value is checked against an element E of a shape:
//  1. `const Member* m = types.member(type of the object, node.name)` gives the element index
//     m->element and, within it, the choice index `m -
//     types.info(t).elements[m->element].members.data()`.
//  2. `const ShapeElement* c = E.child(m->element)` is the constraint on it.
//  3. `const TypeRef* r = c->type_of(choice index)`; nullptr: this shape excludes that type.
//  4. `r->inner` is the element whose children constrain the value's own members (c itself when the
//     snapshot walked in, else the root of the type's base shape); `r->profiles` are further shapes
//     the value must conform to.
//  5. A value of type T runs c->constraints and Catalog::type_constraints(T); the two never share
//     one.
// A profile's snapshot holds everything of its base, so a resource checked against a profile of its
// type need not be checked against the base shape as well.
// Source: FHIR R4 ElementDefinition, profiling.html.

#include <cstdint>
#include <span>
#include <string_view>

#include "engine/json/node.h"
#include "engine/shapes/types.h"
#include "engine/shapes/values.h"

namespace engine::shapes {

struct Shape;
struct ShapeElement;

inline constexpr std::uint32_t kUnbounded = 0xFFFFFFFF;

// --- Types of an element ---------------------------------------------------------------------

// A canonical and, when it is loaded, the shape it names.
struct ShapeRef {
  std::string_view canonical;  // as written, with |version if any
  const Shape* shape = nullptr;
};

enum class Aggregation : std::uint8_t { kContained = 1, kReferenced = 2, kBundled = 4 };  // bits

struct TypeRef {
  TypeId type = kNoType;
  const Member* member = nullptr;  // the JSON member that carries this type; nullptr on a root
  // The element whose children constrain the members of a value of this type; nullptr when the
  // type is not loaded or is an abstract resource (Bundle.entry.resource: use the base shape of the
  // resource found).
  const ShapeElement* inner = nullptr;
  std::span<const ShapeRef> profiles;         // any one of them must be met
  std::span<const ShapeRef> target_profiles;  // of Reference and canonical: any one of them
  std::uint8_t aggregation = 0;               // Aggregation bits; 0 = any
  enum class Versioning : std::uint8_t { kEither, kIndependent, kSpecific };
  Versioning versioning = Versioning::kEither;
};

// --- Bindings and value limits ---------------------------------------------------------------

enum class Strength : std::uint8_t { kRequired, kExtensible, kPreferred, kExample };

struct Binding {
  Strength strength = Strength::kExample;
  std::string_view canonical;           // empty when the definition names no value set
  const ValueSet* value_set = nullptr;  // nullptr when it is not loaded
  std::string_view max_canonical;       // extension elementdefinition-maxValueSet
  const ValueSet* max_value_set = nullptr;
};

// A published binding that is not applied to the letter.
struct BindingException {
  std::string_view element;                // ShapeElement::id
  std::string_view value_set;              // without version
  Strength strength = Strength::kExample;  // what is applied
  std::string_view reason;
};

// Rare; behind one pointer.
struct ValueLimits {
  const json::Node* min_value = nullptr;
  const json::Node* max_value = nullptr;
  TypeId min_type = kNoType;
  TypeId max_type = kNoType;
  std::uint32_t length_max = 0;  // maxLength in characters; 0 = none
};

// --- Constraints -----------------------------------------------------------------------------

// Invariants, deduplicated over the whole catalog: compile each expression once, by this index.
using ConstraintId = std::uint16_t;

struct Constraint {
  std::string_view key;         // "obs-6"
  std::string_view expression;  // FHIRPath; empty when the definition gives none
  std::string_view source;      // canonical of the shape that brought it; may be empty
  bool is_error = true;         // severity error, else warning
  bool best_practice = false;   // extension elementdefinition-bestpractice
};

// --- Slicing ---------------------------------------------------------------------------------

enum class SlicingRules : std::uint8_t { kOpen, kClosed, kOpenAtEnd };

// One step of a discriminator's restricted path.
struct PathStep {
  enum class Kind : std::uint8_t { kMember, kResolve, kExtension, kOfType };
  Kind kind = Kind::kMember;
  const json::Name* stem = nullptr;  // kMember: the element's stem ("code", "value")
  std::string_view url;              // kExtension
  TypeId type = kNoType;             // kOfType
};

enum class DiscriminatorKind : std::uint8_t { kValue, kPattern, kExists, kType, kProfile };

struct Discriminator {
  DiscriminatorKind kind = DiscriminatorKind::kValue;
  std::string_view path;            // as written
  std::span<const PathStep> steps;  // empty for $this
};

// What one discriminator asks of an item of one slice, resolved when the catalog is linked.
// The item passes when any value found at the discriminator's path passes any of the tests that
// share the discriminator (several arise where the path runs through slices of its own).
struct SliceTest {
  enum class Kind : std::uint8_t {
    kFixed,        // deep equal to `value`
    kPattern,      // contains `value`
    kBinding,      // in `binding`'s value set
    kExists,       // something is there
    kAbsent,       // nothing is there
    kType,         // the value's type is one of `element->types`
    kProfile,      // conforms to one of the profiles of `element->types`
    kConforms,     // conforms to `element` and its children (nothing simpler is said at the path)
    kUndecidable,  // the profile gives no expectation: a defect of the profile
  };
  Kind kind = Kind::kUndecidable;
  std::uint8_t discriminator = 0;         // index into Slicing::discriminators
  const json::Node* value = nullptr;      // kFixed, kPattern
  const Binding* binding = nullptr;       // kBinding
  const ShapeElement* element = nullptr;  // the element at the end of the path
};

struct Slice {
  const ShapeElement* element = nullptr;
  std::span<const SliceTest> tests;  // ordered by discriminator
  std::string_view extension_url;    // Slicing::by_url only
};

struct Slicing {
  std::span<const Discriminator> discriminators;  // empty: match by speculative conformance
  std::span<const Slice> slices;                  // in the order of the definition
  SlicingRules rules = SlicingRules::kOpen;
  bool ordered = false;
  // Fast ways. by_url: the only discriminator is value/url and every slice has its extension_url.
  // by_type: the only discriminator is type/$this.
  bool by_url = false;
  bool by_type = false;
};

// --- Elements --------------------------------------------------------------------------------

struct ShapeElement {
  const json::Name* stem = nullptr;  // nullptr on the root
  std::string_view id;               // "Observation.component:systolic.value[x]"
  std::string_view slice_name;       // empty unless this is a slice
  std::uint32_t min = 0;
  std::uint32_t max = kUnbounded;  // kUnbounded for *
  std::uint32_t base_max = kUnbounded;
  std::uint32_t index = 0;  // in Shape::elements
  bool is_root = false;
  bool choice = false;
  bool repeats = false;  // base max above 1: an array in JSON whatever max says here
  bool must_support = false;
  bool is_modifier = false;
  bool is_summary = false;
  const Shape* shape = nullptr;
  const ShapeElement* parent = nullptr;  // for a slice: the parent of the sliced element
  // The sliced element a slice belongs to (an outer slice for a re-slice); nullptr otherwise.
  const ShapeElement* sliced = nullptr;

  // The type whose elements the children stand for: the single type of the element, its nested
  // type, or Element where a choice was walked into for what all its types share (id, extension);
  // then these children apply beside those of TypeRef::inner. kNoType when there are no children
  // here.
  TypeId children_type = kNoType;
  // By element index of children_type; every entry is set.
  std::span<const ShapeElement* const> children;

  std::span<const TypeRef> types;
  // By choice index of the type model's element (see the top); nullptr = excluded here.
  std::span<const TypeRef* const> by_choice;

  const Binding* binding = nullptr;
  const json::Node* fixed = nullptr;  // not both
  const json::Node* pattern = nullptr;
  TypeId value_type = kNoType;  // the type of fixed or pattern
  const ValueLimits* limits = nullptr;
  // Without those that Catalog::type_constraints has for every type of the element.
  std::span<const ConstraintId> constraints;
  const Slicing* slicing = nullptr;
  std::string_view content_reference;  // "#Questionnaire.item", as written; else empty

  bool has_children() const { return children_type != kNoType; }
  // The constraint on element `element` (index in children_type). Requires has_children().
  const ShapeElement* child(std::size_t element) const { return children[element]; }
  const TypeRef* type_of(std::size_t choice_index) const {
    return choice_index < by_choice.size() ? by_choice[choice_index] : nullptr;
  }
};

// --- Shapes ----------------------------------------------------------------------------------

// Where an extension may stand (R4 StructureDefinition.context).
struct ExtensionContext {
  enum class Kind : std::uint8_t { kElement, kExtension, kFhirPath };
  Kind kind = Kind::kElement;
  std::string_view expression;  // "Observation.value[x]", an extension's url, or FHIRPath
};

struct Shape {
  std::string_view url;
  std::string_view version;
  std::string_view name;     // StructureDefinition.name
  std::string_view package;  // "hl7.fhir.us.core#9.0.0"; empty for loose definitions
  TypeId type = kNoType;
  TypeKind kind = TypeKind::kComplex;
  bool is_profile = false;  // derivation = constraint
  bool is_abstract = false;
  bool is_extension = false;  // a profile of Extension
  bool is_retired = false;
  std::string_view base_canonical;
  const Shape* base = nullptr;
  std::span<const ShapeElement> elements;  // in snapshot order, root first
  std::span<const ExtensionContext> contexts;
  std::span<const std::string_view> context_invariants;  // FHIRPath with %extension

  const ShapeElement& root() const { return elements.front(); }
};

}  // namespace engine::shapes
