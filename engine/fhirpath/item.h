#pragma once
// Items: what FHIRPath collections hold. An item is 24 bytes and is copied freely; it borrows
// everything longer (text, decimals, quantities, JSON nodes) from a Workspace's arena, a compiled
// Expression or the document it came from, and lives as long as the shortest of these. Source:
// FHIRPath 2.0.0 (types); FHIR R4 fhirpath.html (use of FHIR types).

#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "engine/base/decimal.h"
#include "engine/json/node.h"
#include "engine/shapes/types.h"

namespace engine::fhirpath {

enum class ItemKind : std::uint8_t {
  kNothing,  // no item; never inside a collection
  kNode,     // an element or resource of a document
  kBoolean,
  kInteger,
  kDecimal,
  kString,
  kDate,
  kDateTime,
  kTime,
  kQuantity,
  kTypeName,  // what type() returns
};

enum class Precision : std::uint8_t { kNone, kYear, kMonth, kDay, kHour, kMinute, kSecond };

// A date, a date with time, or a time, as far as it was written. Fields past the precision are zero
// (month and day 1).
struct Temporal {
  std::int16_t year = 0;
  std::int16_t zone_minutes = 0;  // east of UTC; meaningful when has_zone
  std::uint32_t nanoseconds = 0;  // fraction of the second
  std::uint8_t month = 1;
  std::uint8_t day = 1;
  std::uint8_t hour = 0;
  std::uint8_t minute = 0;
  std::uint8_t second = 0;
  std::uint8_t fraction_digits = 0;  // as written, at most 9
  Precision precision = Precision::kNone;
  bool has_zone = false;
};
static_assert(sizeof(Temporal) == 16);

struct Quantity {
  base::Decimal value;
  // A UCUM code, or a calendar word in the singular ("day") when calendar is set. "1" when there is
  // no unit.
  std::string_view unit = "1";
  bool calendar = false;
};

struct TypeName {
  std::string_view space;  // "System" or "FHIR"
  std::string_view name;
};

// A place in a document.
struct NodeRef {
  const json::Node* node;       // nullptr for a primitive that has only an id or extensions
  const json::Node* companion;  // the "_name" object of a primitive; nullptr when absent
};

struct Item {
  ItemKind kind = ItemKind::kNothing;
  shapes::TypeId type =
      shapes::kNoType;       // of a node; kNoType when the document's types are unknown
  std::uint32_t length = 0;  // bytes of a string
  union {
    NodeRef at;
    const char* data;
    bool boolean;
    std::int64_t integer;
    const base::Decimal* decimal;
    Temporal temporal;
    const Quantity* quantity;
    const TypeName* type_name;
  };

  constexpr Item() : at{nullptr, nullptr} {}

  static Item of_node(const json::Node* node, shapes::TypeId type,
                      const json::Node* companion = nullptr) {
    Item item;
    item.kind = ItemKind::kNode;
    item.type = type;
    item.at = {node, companion};
    return item;
  }
  static Item of_boolean(bool value) {
    Item item;
    item.kind = ItemKind::kBoolean;
    item.boolean = value;
    return item;
  }
  static Item of_integer(std::int64_t value) {
    Item item;
    item.kind = ItemKind::kInteger;
    item.integer = value;
    return item;
  }
  // Borrows the text.
  static Item of_string(std::string_view text) {
    Item item;
    item.kind = ItemKind::kString;
    item.length = static_cast<std::uint32_t>(text.size());
    item.data = text.data();
    return item;
  }
  // Borrows the decimal.
  static Item of_decimal(const base::Decimal* value) {
    Item item;
    item.kind = ItemKind::kDecimal;
    item.decimal = value;
    return item;
  }
  static Item of_quantity(const Quantity* value) {
    Item item;
    item.kind = ItemKind::kQuantity;
    item.quantity = value;
    return item;
  }
  static Item of_temporal(ItemKind kind, const Temporal& value) {
    Item item;
    item.kind = kind;
    item.temporal = value;
    return item;
  }
  static Item of_type_name(const TypeName* value) {
    Item item;
    item.kind = ItemKind::kTypeName;
    item.type_name = value;
    return item;
  }

  bool is_node() const { return kind == ItemKind::kNode; }
  bool is_nothing() const { return kind == ItemKind::kNothing; }
  // Of a string item.
  std::string_view text() const { return {data, length}; }
};
static_assert(sizeof(Item) == 24);

using Items = std::span<const Item>;

}  // namespace engine::fhirpath
