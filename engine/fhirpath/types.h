#pragma once
// What the language needs to know about a type model, looked up once and shared by every expression
// compiled against it. Immutable after construction; read from many threads. Borrows the model and
// the name table.

#include <cstdint>
#include <string_view>
#include <vector>

#include "engine/fhirpath/item.h"
#include "engine/json/names.h"
#include "engine/shapes/types.h"

namespace engine::fhirpath {

// How a node of a type turns into a System value.
enum class ValueClass : std::uint8_t {
  kComplex,  // it does not
  kBoolean,
  kInteger,
  kDecimal,
  kString,
  kDate,
  kDateTime,
  kTime,
  kQuantity,  // Quantity and its specialisations
  kUnknown,   // a node without a type: the JSON kind decides
};

class Types {
 public:
  // The name table is the one documents are parsed with; it should already hold every element name
  // of the model.
  Types(const shapes::TypeModel& model, const json::NameTable& names);

  const shapes::TypeModel& model() const { return *model_; }
  const json::NameTable& names() const { return *names_; }

  ValueClass value_class(shapes::TypeId type) const {
    return type == shapes::kNoType ? ValueClass::kUnknown : classes_[type];
  }
  // The element of a type by its stem, in constant time; nullptr when there is none.
  const shapes::Element* element(shapes::TypeId type, const json::Name* stem) const;
  // A whole resource as an item: its type is the one that resourceType names, kNoType when there is
  // none.
  Item resource(const json::Node& root) const;
  // The text of an object's resourceType member; empty when it has none.
  std::string_view named_type(const json::Node& object) const;
  // The type named by an object's resourceType member; kNoType when absent or unknown.
  shapes::TypeId resource_type(const json::Node& object) const;
  shapes::TypeId extension() const { return extension_; }
  // True for types whose instances name their own type (Resource, DomainResource).
  bool names_itself(shapes::TypeId type) const {
    return type != shapes::kNoType && names_itself_[type] != 0;
  }

 private:
  // Open addressing over (type, name id), a power of two, at most half full.
  struct Slot {
    std::uint64_t key = 0;
    const shapes::Element* element = nullptr;
  };
  static std::uint64_t key_of(shapes::TypeId type, const json::Name* stem) {
    return (std::uint64_t{type} << 32) | stem->id;
  }
  static std::size_t start_of(std::uint64_t key) {
    return static_cast<std::size_t>((key * 0x9E3779B97F4A7C15u) >> 32);
  }
  void index_elements();

  const shapes::TypeModel* model_;
  const json::NameTable* names_;
  const json::Name* resource_type_name_;
  shapes::TypeId extension_ = shapes::kNoType;
  std::vector<ValueClass> classes_;
  std::vector<std::uint8_t> names_itself_;
  std::vector<Slot> slots_;
};

}  // namespace engine::fhirpath
