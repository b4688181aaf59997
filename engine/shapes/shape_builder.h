#pragma once
// One shape from its facts: the tree of elements with everything that needs no other shape.

#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/shapes/catalog_builder.h"

namespace engine::shapes {

class ShapeBuilder {
 public:
  ShapeBuilder(CatalogBuilder& owner, const ShapeFacts& facts, Shape& shape)
      : owner_(owner), facts_(facts), shape_(shape) {}

  base::Result<void> build();

 private:
  base::Error wrong(std::string what, const ElementFacts& where) const;
  base::Result<void> build_root();
  base::Result<void> place(std::size_t index);
  // The latest element with this id among the first `count`; count when there is none.
  std::size_t find_before(std::size_t count, std::string_view id) const;
  const ShapeElement* sliced_by(std::size_t index) const;
  base::Result<void> fill(std::size_t index);
  base::Result<void> fill_types(const ElementFacts& facts, ShapeElement& element,
                                const Element& type_element);
  base::Result<void> fill_values(const ElementFacts& facts, ShapeElement& element);
  void fill_constraints(const ElementFacts& facts, ShapeElement& element);
  base::Result<void> fill_slicing(const ElementFacts& facts, ShapeElement& element);
  base::Result<TypeId> type_of_children(const ElementFacts& facts, ShapeElement& element);
  void seal_children();
  void seal_slices();

  template <class T>
  std::span<T> store(const std::vector<T>& items);

  CatalogBuilder& owner_;
  const ShapeFacts& facts_;
  Shape& shape_;
  ShapeElement* elements_ = nullptr;
  std::vector<std::size_t> open_;  // the last element of every depth
  struct Child {
    std::size_t parent;
    std::size_t child;
    std::size_t element;  // index in the parent's type
  };
  std::vector<Child> children_;
};

}  // namespace engine::shapes
