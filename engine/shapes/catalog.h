#pragma once
// The catalog: everything published that the engine knows about resources. It owns the table of
// member names, the type model, the compiled shapes, value sets and code systems, and is made of
// fact files (profiles/r4 ...), FHIR JSON definitions and packages given as bytes in memory.
// Not for instances, and not a terminology service.
// Filled by one thread; after the last add() the owner calls freeze() and it is read from many.

#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/fhir/issue.h"
#include "engine/json/document.h"
#include "engine/json/names.h"
#include "engine/shapes/package.h"
#include "engine/shapes/shape.h"
#include "engine/shapes/types.h"
#include "engine/shapes/values.h"

namespace engine::shapes {

struct CatalogStore;  // texts, arenas, indexes

class Catalog {
 public:
  // From compiled facts (names ending in ".facts") and FHIR JSON definitions (".json": as add()).
  // Other files are ignored. Texts of the SourceView form are not copied: the bytes must outlive
  // the catalog (they are those embedded in the program). Errors: kInvalid with where =
  // "file:line" for facts, "file: element id" for definitions; kLimit.
  static base::Result<std::unique_ptr<Catalog>> load(std::span<const base::SourceView> files);
  static base::Result<std::unique_ptr<Catalog>> load(std::span<const base::SourceFile> files);
  ~Catalog();
  Catalog(const Catalog&) = delete;
  Catalog& operator=(const Catalog&) = delete;

  // Adds definitions: StructureDefinition, ValueSet, CodeSystem, Bundles of them, as JSON texts
  // (".json") or compiled facts (".facts"), in any order; others are ignored. Snapshots are
  // generated where the definition has none. A definition with the same url and version as a loaded
  // one replaces it for later look-ups. Returns what is wrong: an error means that the definition
  // named in it was not added (all others were). Not after freeze().
  fhir::Issues add(std::span<const base::SourceFile> definitions, std::string_view package = {});

  // A whole package, under its id; its dependencies should be there first.
  fhir::Issues add(const FhirPackage& package);
  bool has_package(std::string_view id) const;  // "name#version"
  std::vector<std::string_view> packages() const;

  // Interning names (maps do) is allowed until freeze().
  json::NameTable& names() { return names_; }
  const json::NameTable& names() const { return names_; }
  void freeze() { names_.freeze(); }

  const TypeModel& types() const { return types_; }

  // --- Shapes
  // By canonical, "url" or "url|version". A version must match exactly; without one the highest
  // semantic version wins, active before retired. nullptr when unknown.
  // With from_package ("name#version"), an unversioned canonical means first what that package or
  // its dependencies hold.
  const Shape* find_shape(std::string_view canonical, std::string_view from_package = {}) const;
  // The shape of a type itself: "Observation", "Quantity", "string". nullptr for nested and system
  // types, and for kNoType.
  const Shape* base_shape(TypeId type) const {
    return type < base_shapes_.size() ? base_shapes_[type] : nullptr;
  }
  // The invariants that every value of a type must meet, wherever it stands, those of its base
  // types included.
  std::span<const ConstraintId> type_constraints(TypeId type) const {
    return type < type_constraints_.size() ? type_constraints_[type]
                                           : std::span<const ConstraintId>();
  }
  // All of them, in the order of loading.
  std::span<const Shape* const> shapes() const { return shapes_; }

  // Bindings that are applied weaker or stronger than published, by name and with the reason.
  std::span<const BindingException> binding_exceptions() const { return binding_exceptions_; }

  const Constraint& constraint(ConstraintId id) const { return constraints_[id]; }
  std::size_t constraint_count() const { return constraints_.size(); }

  // --- Terminology
  const ValueSet* find_value_set(std::string_view canonical,
                                 std::string_view from_package = {}) const;
  const CodeSystem* find_code_system(std::string_view canonical,
                                     std::string_view from_package = {}) const;

  // Memory of the tables in bytes, for the benchmark and `profiles list`.
  std::size_t bytes() const;

 private:
  friend class CatalogBuilder;

  Catalog();
  base::Result<void> fill(std::span<const base::SourceView> files);

  json::NameTable names_;
  TypeModel types_;
  std::vector<const Shape*> shapes_;
  std::vector<const Shape*> base_shapes_;
  std::vector<std::span<const ConstraintId>> type_constraints_;
  std::vector<Constraint> constraints_;
  std::vector<BindingException> binding_exceptions_;
  std::unique_ptr<CatalogStore> store_;
};

}  // namespace engine::shapes
