// Equality (=), equivalence (~), and sets under equality.
// Source: FHIRPath 2.0.0 "Equality", FHIR R4 fhirpath.html for FHIR's own types.

#include <algorithm>
#include <vector>

#include "engine/fhirpath/letters.h"
#include "engine/fhirpath/machine.h"
#include "engine/fhirpath/temporal.h"
#include "engine/fhirpath/units.h"

namespace engine::fhirpath {
namespace {

Truth truth_of(bool value) {
  return value ? Truth::kTrue : Truth::kFalse;
}

Truth truth_of(Order order) {
  return order == Order::kUnknown ? Truth::kEmpty : truth_of(order == Order::kEqual);
}

bool is_moment(ItemKind kind) {
  return kind == ItemKind::kDate || kind == ItemKind::kDateTime;
}

bool same_number(std::string_view a, std::string_view b) {
  if (a == b) {
    return true;
  }
  const auto left = base::Decimal::parse(a);
  const auto right = base::Decimal::parse(b);
  return left && right && *left == *right;
}

// Same content, members in any order, numbers by value. Documents bound their depth, so recursion
// is bounded.
bool same_content(Machine& machine, const json::Node& a, const json::Node& b) {
  machine.tick();
  if (a.kind != b.kind || a.count != b.count) {
    return false;
  }
  switch (a.kind) {
    case json::Kind::kNull:
      return true;
    case json::Kind::kBoolean:
      return a.boolean == b.boolean;
    case json::Kind::kNumber:
      return same_number(a.text(), b.text());
    case json::Kind::kString:
      machine.tick_text(a.length);
      return a.text() == b.text();
    case json::Kind::kArray: {
      const json::Node* right = b.first;
      for (const json::Node& left : a) {
        if (!same_content(machine, left, *right)) {
          return false;
        }
        right = right->next;
      }
      return true;
    }
    case json::Kind::kObject:
      for (const json::Node& left : a) {
        const json::Node* right = b.find(left.name);
        if (right == nullptr) {
          right = b.find(left.name->text);
        }
        if (right == nullptr || !same_content(machine, left, *right)) {
          return false;
        }
      }
      return true;
  }
  return false;
}

Truth equal_quantities(const Quantity& a, const Quantity& b) {
  return truth_of(compare(a, b));
}

Truth equal_values(const Item& a, const Item& b) {
  if (a.kind == b.kind) {
    switch (a.kind) {
      case ItemKind::kBoolean:
        return truth_of(a.boolean == b.boolean);
      case ItemKind::kInteger:
        return truth_of(a.integer == b.integer);
      case ItemKind::kDecimal:
        return truth_of(*a.decimal == *b.decimal);
      case ItemKind::kString:
        return truth_of(a.text() == b.text());
      case ItemKind::kDate:
      case ItemKind::kDateTime:
      case ItemKind::kTime:
        return truth_of(compare(a.temporal, b.temporal));
      case ItemKind::kQuantity:
        return equal_quantities(*a.quantity, *b.quantity);
      case ItemKind::kTypeName:
        return truth_of(a.type_name->space == b.type_name->space &&
                        a.type_name->name == b.type_name->name);
      default:
        return Truth::kFalse;
    }
  }
  if (is_moment(a.kind) && is_moment(b.kind)) {
    return truth_of(compare(a.temporal, b.temporal));
  }
  const auto left = number_of(a);
  const auto right = number_of(b);
  if (left && right) {
    return truth_of(*left == *right);
  }
  if (left && b.kind == ItemKind::kQuantity) {
    return equal_quantities({*left, "1", false}, *b.quantity);
  }
  if (right && a.kind == ItemKind::kQuantity) {
    return equal_quantities(*a.quantity, {*right, "1", false});
  }
  return Truth::kFalse;
}

bool equivalent_values(const Item& a, const Item& b) {
  if (a.kind == ItemKind::kString && b.kind == ItemKind::kString) {
    return equal_loosely(a.text(), b.text());
  }
  const auto left = number_of(a);
  const auto right = number_of(b);
  if (left && right) {
    return equivalent(*left, *right);
  }
  if (a.kind == ItemKind::kQuantity || b.kind == ItemKind::kQuantity) {
    const Quantity one =
        a.kind == ItemKind::kQuantity ? *a.quantity : Quantity{left.value_or(base::Decimal()), "1"};
    const Quantity two = b.kind == ItemKind::kQuantity
                             ? *b.quantity
                             : Quantity{right.value_or(base::Decimal()), "1"};
    const bool quantities = (a.kind == ItemKind::kQuantity || left.has_value()) &&
                            (b.kind == ItemKind::kQuantity || right.has_value());
    return quantities && equivalent(one, two);
  }
  return equal_values(a, b) == Truth::kTrue;
}

bool equivalent_nodes(Machine& machine, const json::Node& a, const json::Node& b);

// Every item of one list has a partner in the other; the order does not count.
bool equivalent_lists(Machine& machine, const json::Node& a, const json::Node& b) {
  if (a.count != b.count) {
    return false;
  }
  std::vector<bool> taken(b.count, false);
  for (const json::Node& left : a) {
    std::size_t i = 0;
    bool found = false;
    for (const json::Node& right : b) {
      if (!taken[i] && equivalent_nodes(machine, left, right)) {
        taken[i] = true;
        found = true;
        break;
      }
      ++i;
    }
    if (!found) {
      return false;
    }
  }
  return true;
}

bool equivalent_nodes(Machine& machine, const json::Node& a, const json::Node& b) {
  machine.tick();
  if (a.kind != b.kind) {
    return false;
  }
  switch (a.kind) {
    case json::Kind::kNull:
      return true;
    case json::Kind::kBoolean:
      return a.boolean == b.boolean;
    case json::Kind::kNumber: {
      const auto left = base::Decimal::parse(a.text());
      const auto right = base::Decimal::parse(b.text());
      return left && right ? equivalent(*left, *right) : a.text() == b.text();
    }
    case json::Kind::kString:
      machine.tick_text(a.length);
      return equal_loosely(a.text(), b.text());
    case json::Kind::kArray:
      return equivalent_lists(machine, a, b);
    case json::Kind::kObject:
      break;
  }
  const auto members = [](const json::Node& node) {
    return node.count - (node.find("id") != nullptr ? 1U : 0U);
  };
  if (members(a) != members(b)) {
    return false;
  }
  for (const json::Node& left : a) {
    if (left.name->text == "id") {
      continue;
    }
    const json::Node* right = b.find(left.name->text);
    if (right == nullptr || !equivalent_nodes(machine, left, *right)) {
      return false;
    }
  }
  return true;
}

bool equivalent_codings(const json::Node& a, const json::Node& b) {
  return a.string_at("system") == b.string_at("system") &&
         a.string_at("code") == b.string_at("code");
}

// Concepts: any coding in common; without codings, the text.
bool equivalent_concepts(Machine& machine, const json::Node& a, const json::Node& b) {
  const json::Node* left = a.find("coding");
  const json::Node* right = b.find("coding");
  if (left == nullptr || right == nullptr) {
    return left == right && equal_loosely(a.string_at("text"), b.string_at("text"));
  }
  for (const json::Node& one : *left) {
    for (const json::Node& two : *right) {
      machine.tick();
      if (equivalent_codings(one, two)) {
        return true;
      }
    }
  }
  return false;
}

void tick_texts(Machine& machine, const Item& a, const Item& b) {
  if (a.kind == ItemKind::kString && b.kind == ItemKind::kString) {
    machine.tick_text(std::min(a.length, b.length));
  }
}

std::string_view type_name(Machine& machine, const Item& item) {
  return item.is_node() && item.type != shapes::kNoType && machine.types() != nullptr
             ? machine.types()->model().info(item.type).name
             : std::string_view();
}

}  // namespace

Truth equal(Machine& machine, const Item& a, const Item& b) {
  machine.tick();
  const Item left = machine.value_of(a);
  const Item right = machine.value_of(b);
  if (!left.is_nothing() && !right.is_nothing()) {
    tick_texts(machine, left, right);
    return equal_values(left, right);
  }
  if (!a.is_node() || !b.is_node()) {
    return Truth::kFalse;
  }
  if (a.at.node == nullptr || b.at.node == nullptr) {
    // Primitives without a value are equal when their extensions are.
    return truth_of(a.at.node == b.at.node && a.at.companion != nullptr &&
                    b.at.companion != nullptr &&
                    same_content(machine, *a.at.companion, *b.at.companion));
  }
  return truth_of(a.at.node == b.at.node || same_content(machine, *a.at.node, *b.at.node));
}

Truth equal(Machine& machine, Items a, Items b) {
  if (a.empty() || b.empty()) {
    return Truth::kEmpty;
  }
  if (a.size() != b.size()) {
    return Truth::kFalse;
  }
  Truth result = Truth::kTrue;
  for (std::size_t i = 0; i < a.size(); ++i) {
    const Truth one = equal(machine, a[i], b[i]);
    if (one == Truth::kFalse) {
      return one;
    }
    if (one == Truth::kEmpty) {
      result = one;
    }
  }
  return result;
}

bool equivalent(Machine& machine, const Item& a, const Item& b) {
  machine.tick();
  const Item left = machine.value_of(a);
  const Item right = machine.value_of(b);
  if (!left.is_nothing() && !right.is_nothing()) {
    tick_texts(machine, left, right);
    return equivalent_values(left, right);
  }
  if (!a.is_node() || !b.is_node() || a.at.node == nullptr || b.at.node == nullptr) {
    return false;
  }
  const std::string_view type = type_name(machine, a);
  if (type == type_name(machine, b)) {
    if (type == "Coding") {
      return equivalent_codings(*a.at.node, *b.at.node);
    }
    if (type == "CodeableConcept") {
      return equivalent_concepts(machine, *a.at.node, *b.at.node);
    }
  }
  return equivalent_nodes(machine, *a.at.node, *b.at.node);
}

bool equivalent(Machine& machine, Items a, Items b) {
  if (a.size() != b.size()) {
    return false;
  }
  if (a.size() == 1) {
    return equivalent(machine, a.front(), b.front());
  }
  std::vector<bool> taken(b.size(), false);
  for (const Item& one : a) {
    bool found = false;
    for (std::size_t i = 0; i < b.size() && !found; ++i) {
      if (!taken[i] && equivalent(machine, one, b[i])) {
        taken[i] = true;
        found = true;
      }
    }
    if (!found) {
      return false;
    }
  }
  return true;
}

std::uint64_t DistinctItems::hash_of(const Item& item) {
  const Item value = machine_.value_of(item);
  switch (value.kind) {
    case ItemKind::kString:
      machine_.tick_text(value.length);
      return json::NameTable::hash(value.text());
    case ItemKind::kBoolean:
      return value.boolean ? 1 : 2;
    case ItemKind::kInteger:
    case ItemKind::kDecimal: {
      const base::Decimal number = number_of(value)->without_trailing_zeros();
      // Trailing zeros before the point are digits of the coefficient for integers and of the
      // exponent otherwise; the double is the same for both.
      const double rough = number.to_double();
      std::uint64_t bits = 0;
      static_assert(sizeof(bits) == sizeof(rough));
      std::copy_n(reinterpret_cast<const char*>(&rough), sizeof(bits),
                  reinterpret_cast<char*>(&bits));
      // Whole numbers differ in the high bits only; the buckets look at the low ones.
      return (bits * 0x9E3779B97F4A7C15u) >> 20;
    }
    case ItemKind::kQuantity:
      has_quantity_ = true;
      return 3;
    case ItemKind::kNothing:
      return item.is_node() && item.at.node != nullptr ? 4 + item.at.node->count : 4;
    default:
      return 5;
  }
}

DistinctItems::Entry* DistinctItems::find(const Item& item, std::uint64_t hash) {
  const bool all = has_quantity_ || buckets_ == nullptr;
  for (Entry* entry = all ? first_ : buckets_[hash % kBuckets]; entry != nullptr;
       entry = entry->next) {
    machine_.tick();
    if ((has_quantity_ || entry->hash == hash) &&
        equal(machine_, entry->item, item) == Truth::kTrue) {
      return entry;
    }
  }
  if (has_quantity_ && buckets_ != nullptr) {
    for (std::size_t i = 0; i < kBuckets; ++i) {
      for (Entry* entry = buckets_[i]; entry != nullptr; entry = entry->next) {
        if (equal(machine_, entry->item, item) == Truth::kTrue) {
          return entry;
        }
      }
    }
  }
  return nullptr;
}

bool DistinctItems::contains(const Item& item) {
  return find(item, hash_of(item)) != nullptr;
}

bool DistinctItems::insert(const Item& item) {
  const std::uint64_t hash = hash_of(item);
  if (find(item, hash) != nullptr) {
    return false;
  }
  if (buckets_ == nullptr && size_ == kInlineMax) {
    buckets_ = machine_.arena().make_array<Entry*>(kBuckets);
    std::fill_n(buckets_, kBuckets, nullptr);
    for (Entry* entry = first_; entry != nullptr;) {
      Entry* next = entry->next;
      entry->next = buckets_[entry->hash % kBuckets];
      buckets_[entry->hash % kBuckets] = entry;
      entry = next;
    }
    first_ = nullptr;
  }
  Entry*& head = buckets_ != nullptr ? buckets_[hash % kBuckets] : first_;
  if (size_ < kInlineMax) {
    inline_[size_] = {item, hash, head};
    head = &inline_[size_];
  } else {
    head = machine_.arena().make<Entry>(item, hash, head);
  }
  ++size_;
  return true;
}

}  // namespace engine::fhirpath
