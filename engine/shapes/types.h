#pragma once
// The type model: every FHIR type, its elements, the JSON members they may appear as, and the type
// hierarchy. Facts of the published StructureDefinitions, compiled to tables (see catalog.h);
// FHIRPath, the checker and the mapping language read it. Immutable after load, so it is read from
// many threads.
//
// Nested elements have types of their own, named by their path ("Observation.component"), whose
// base is BackboneElement or Element; a contentReference gives the same TypeId as its target.
// System types ("System.String", the type of Element.id) are there too.

#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "engine/json/names.h"

namespace engine::shapes {

using TypeId = std::uint16_t;
inline constexpr TypeId kNoType = 0xFFFF;

enum class TypeKind : std::uint8_t {
  kSystem,
  kPrimitive,
  kComplex,
  kBackbone,
  kResource,
  kLogical
};

// One JSON member that a type may carry.
struct Member {
  const json::Name* name = nullptr;       // "valueQuantity"
  const json::Name* companion = nullptr;  // "_valueString" for a FHIR primitive; else nullptr
  TypeId type = kNoType;      // the type of its value (items, when it repeats); kNoType when the
                              // definition of that type is not loaded
  std::uint16_t element = 0;  // index into TypeInfo::elements
};

// One element of a type: "value" of Observation has eleven members, "status" one.
struct Element {
  const json::Name* stem = nullptr;  // "value" for value[x]
  bool choice = false;               // a [x] element
  bool repeats = false;              // base max above 1: an array in JSON
  std::uint32_t min = 0;
  std::span<const Member> members;  // in the order of the definition's types; one unless choice
};

struct TypeInfo {
  std::string_view name;  // "Observation", "Observation.component", "code", "System.String"
  TypeKind kind = TypeKind::kComplex;
  TypeId base = kNoType;  // kNoType for Element, Resource (R4 has no common root), system types
  bool abstract = false;
  std::span<const Element> elements;  // inherited ones first, in the order of the definition
};

class TypeModel {
 public:
  // By name; "FHIR.Patient" and "System.String" are understood, a bare name means FHIR first. A
  // logical model is found by its own name and by its canonical url.
  std::optional<TypeId> find(std::string_view name) const;
  const TypeInfo& info(TypeId type) const { return infos_[type]; }
  std::size_t size() const { return infos_.size(); }
  // True when type is base or derives from it. O(1). False for kNoType.
  bool is_a(TypeId type, TypeId base) const {
    return type < infos_.size() && base < infos_.size() &&
           (ancestors_[type * words_ + base / 64] >> (base % 64) & 1) != 0;
  }
  // The member of a type by its JSON name (a companion is found under its own name too); nullptr
  // when the type has none. O(1).
  const Member* member(TypeId type, const json::Name* name) const {
    const MemberTable& table = member_tables_[type];
    for (std::uint32_t i = name->id & table.mask;; i = (i + 1) & table.mask) {
      const MemberSlot& slot = table.slots[i];
      if (slot.name == name || slot.name == nullptr) {
        return slot.member;
      }
    }
  }
  // The element by its stem ("value", "status"); nullptr when the type has none. Linear in the
  // elements of the type.
  const Element* element(TypeId type, const json::Name* stem) const;

 private:
  friend class TypeModelBuilder;

  struct MemberSlot {
    const json::Name* name = nullptr;
    const Member* member = nullptr;
  };
  // Open addressing by Name::id, a power of two, at most half full; slots never is null.
  struct MemberTable {
    const MemberSlot* slots = nullptr;
    std::uint32_t mask = 0;
  };

  std::vector<TypeInfo> infos_;
  std::vector<MemberTable> member_tables_;
  std::vector<std::uint64_t> ancestors_;  // a row of words_ words a type: bit b = "is a b"
  std::size_t words_ = 0;
  std::unordered_map<std::string_view, TypeId> by_name_;
};

}  // namespace engine::shapes
