#pragma once
// Turns facts into the tables of a Catalog: first every shape by itself (build), then everything
// that refers to something else (link). link() may run again after more was built.

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "engine/base/result.h"
#include "engine/shapes/catalog_store.h"
#include "engine/shapes/facts.h"

namespace engine::shapes {

class CatalogBuilder {
 public:
  explicit CatalogBuilder(Catalog& catalog) : catalog_(catalog), store_(*catalog.store_) {}

  // Types of all definitions among the shapes that define one.
  base::Result<void> add_types(const std::vector<const ShapeFacts*>& shapes);
  // A shape with its snapshot. Errors: kInvalid with where = "url: element id".
  base::Result<const Shape*> add_shape(const ShapeFacts& facts, std::string_view package);
  // Everything of several fact files: the types of all of them first. The sets may go afterwards.
  base::Result<void> add_facts(const std::vector<FactSet>& sets);
  // The same for definitions that did not come with the program: what is wrong with one is said and
  // the others are added.
  void add_each(const FactSet& set, fhir::Issues& issues);
  // What a package depends on; texts are borrowed.
  void add_package(std::string_view id, const std::vector<std::string_view>& dependencies);
  void add_code_system(const CodeSystemFacts& facts, std::string_view package);
  void add_value_set(const ValueSetFacts& facts, std::string_view package);
  void link();

  base::Arena& arena() { return store_.arena; }

 private:
  friend class ShapeBuilder;

  ConstraintId constraint_id(const ConstraintFact& fact);
  // A value's JSON as a tree of the catalog. Errors: kInvalid.
  base::Result<const json::Node*> value_node(const ValueFact& value);
  void set_type_constraints();
  void link_shape(Shape& shape);
  void link_element(ShapeElement& element);
  const ValueSet* find_bound_set(std::string_view canonical, std::string_view package) const;
  void link_type(const ShapeElement& element, TypeRef& type, std::string_view package);

  Catalog& catalog_;
  CatalogStore& store_;
  struct OpenTypes {
    std::span<const TypeRef> types;
    std::span<const TypeRef* const> by_choice;
  };
  std::unordered_map<const Element*, OpenTypes> open_types_;
};

// The table of a code system; texts are borrowed from the facts.
CodeSystem make_code_system(const CodeSystemFacts& facts);

// Fills Slicing::slices' tests; see slice_tests.cc. Needs linked shapes.
class SliceLinker {
 public:
  SliceLinker(const Catalog& catalog, CatalogStore& store) : catalog_(catalog), store_(store) {}
  void link(const ShapeElement& sliced);

 private:
  // Where a discriminator's path leads: an element, or a node inside a fixed value or pattern.
  struct Place {
    const ShapeElement* element = nullptr;
    const json::Node* value = nullptr;
    bool fixed = false;
    TypeId only_type = kNoType;
  };
  using Places = std::vector<Place>;

  void link_slice(const Slicing& slicing, Slice& slice);
  Places walk(const ShapeElement& from, std::span<const PathStep> steps) const;
  void step_member(const Place& from, const json::Name* stem, Places& to) const;
  void step_resolve(const Place& from, Places& to) const;
  void step_extension(const Place& from, std::string_view url, Places& to) const;
  static void step_type(const Place& from, TypeId type, Places& to);
  static void add_with_slices(const ShapeElement* element, Places& to);
  void tests_of(const Discriminator& discriminator, std::uint8_t index, const Places& places,
                std::vector<SliceTest>& tests) const;
  std::string_view extension_url_of(const Slice& slice) const;

  const Catalog& catalog_;
  CatalogStore& store_;
};

// "code.coding.ofType(Coding)" as steps; nullopt when it is no restricted path.
std::optional<std::vector<PathStep>> parse_discriminator_path(std::string_view path,
                                                              json::NameTable& names,
                                                              const TypeModel& types);

}  // namespace engine::shapes
