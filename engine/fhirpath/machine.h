#pragma once
// The evaluator: walks a compiled tree and keeps every collection on one stack of items. Internal
// to the folder.
//
// Each evaluate() pushes its result on top of the stack; a step of a path replaces the items above
// its base. The stack has its full size from the start (untouched pages cost nothing), so that
// items never move and a span into it stays valid until its items are dropped. Errors are thrown as
// EvaluationError and caught at the edge of the folder.

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "engine/base/arena.h"
#include "engine/base/limits.h"
#include "engine/fhirpath/fhirpath.h"
#include "engine/fhirpath/program.h"

namespace engine::fhirpath {

struct Workspace::State {
  State();

  base::Arena arena{base::limits::kEvaluationBytesMax};
  std::unique_ptr<std::byte[]> memory;
  Item* items;  // kCollectionItemsMax of them
  std::size_t top = 0;
  std::size_t nesting = 0;
  std::size_t steps = 0;  // of all evaluations since the last reset
};

struct EvaluationError {
  base::ErrorCode code;
  std::string detail;
  const Tree* tree;
};

// A variable of defineVariable().
struct Binding {
  std::string_view name;
  Items value;
  const Binding* outer;
};

// What the parts of an expression see: $this, $index, $total, the defined variables.
struct Scope {
  Items self;
  std::int64_t index = -1;
  const Items* total = nullptr;
  const Binding* bindings = nullptr;
};

class Machine {
 public:
  Machine(const Program& program, const Context& context, Workspace& workspace);
  ~Machine() {
    --state_.nesting;
    state_.steps += base::limits::kEvaluationStepsMax - steps_left_;
  }
  Machine(const Machine&) = delete;
  Machine& operator=(const Machine&) = delete;

  // Pushes the result.
  void evaluate(const Tree& tree, Scope& scope);
  // The result, popped again; valid until the next push.
  Items evaluated(const Tree& tree, Scope& scope);

  // --- The stack.
  std::size_t top() const { return state_.top; }
  Item* at(std::size_t index) { return state_.items + index; }
  Items from(std::size_t base) const { return {state_.items + base, state_.top - base}; }
  void push(const Item& item) { next() = item; }
  // These write their item in place: one made elsewhere and copied at once would stall the store
  // buffer, and path steps are made of little else.
  void push_node(const json::Node* node, shapes::TypeId type, const json::Node* companion) {
    Item& item = next();
    item.kind = ItemKind::kNode;
    item.type = type;
    item.length = 0;
    item.at.node = node;
    item.at.companion = companion;
  }
  void push_boolean(bool value) {
    Item& item = next();
    item.kind = ItemKind::kBoolean;
    item.type = shapes::kNoType;
    item.length = 0;
    item.boolean = value;
  }
  void push_all(Items items);
  void drop_to(std::size_t base) { state_.top = base; }
  // Moves the items from `start` up down to `base`.
  void slide(std::size_t base, std::size_t start);

  // Counts work; throws kLimit past the bound.
  void tick(std::size_t steps = 1) {
    if (steps > steps_left_) {
      too_many_steps();
    }
    steps_left_ -= steps;
  }
  // The same for a text that is gone through.
  void tick_text(std::size_t bytes) { tick(bytes / base::limits::kTextBytesOfStep); }
  [[noreturn]] void fail(std::string detail,
                         base::ErrorCode code = base::ErrorCode::kInvalid) const;

  // --- Items.
  ValueClass class_of(const Item& item) const {
    return program_.types == nullptr ? ValueClass::kUnknown
                                     : program_.types->value_class(item.type);
  }
  // The System value of an item: itself, or what a primitive or Quantity node holds; kNothing when
  // there is none.
  Item value_of(const Item& item) { return item.kind == ItemKind::kNode ? node_value(item) : item; }
  void push_children(const Item& item, const Tree& member);
  void push_all_children(const Item& item);
  // The System value of the only item; kNothing for none; an error for several.
  Item single(Items items);
  // By the singleton rule.
  Truth truth(Items items);
  bool is_of(const Item& item, const TypeSpecifier& type) const;
  // Like is_of(), but a primitive has only its own type, not those that type derives from.
  bool is_exactly(const Item& item, const TypeSpecifier& type) const;

  Item make_string(std::string_view text) { return Item::of_string(arena().copy(text)); }
  Item make_decimal(const base::Decimal& value) {
    return Item::of_decimal(arena().make<base::Decimal>(value));
  }
  Item make_quantity(const Quantity& value) {
    return Item::of_quantity(arena().make<Quantity>(value));
  }
  // Items that outlive the stack's.
  Items keep(Items items);

  base::Arena& arena() { return state_.arena; }
  const Program& program() const { return program_; }
  const Types* types() const { return program_.types; }
  const Context& context() const { return context_; }
  const Host& host() const { return *host_; }
  Workspace& workspace() { return workspace_; }
  Item resource() const;       // %resource
  Item root_resource() const;  // %rootResource
  Item now();                  // a DateTime; an error without a clock

  // The place that an error raised now would name.
  void set_current(const Tree& tree) { current_ = &tree; }

 private:
  void evaluate_operation(const Tree& tree, Scope& scope);
  void evaluate_path(const Tree& tree, Scope& scope);
  void step(const Tree& tree, std::size_t base, Scope& scope);
  void call(const Tree& tree, std::size_t base, Scope& scope);
  void call_host(const Tree& tree, std::size_t base, Scope& scope);
  void subscript(const Tree& tree, std::size_t base, Scope& scope);
  void root_member(const Tree& tree, const Scope& scope);
  void variable(const Tree& tree, const Scope& scope);
  void logic(const Tree& tree, Scope& scope);
  void cast(const Tree& tree, Scope& scope);
  void binary(const Tree& tree, Scope& scope);
  Item node_value(const Item& item);
  Item text_value(ValueClass value_class, const json::Node& node);
  Item quantity_value(const json::Node& node);
  Item& next() {
    if (state_.top == base::limits::kCollectionItemsMax) {
      too_many_items();
    }
    return state_.items[state_.top++];
  }
  void push_resource(const json::Node* node, shapes::TypeId declared);
  void push_untyped(const json::Node& object, const Tree& member);
  void push_choice(const json::Node& object, shapes::TypeId type, const shapes::Element& element,
                   std::uint64_t mask);
  void push_member(const json::Node* value, const json::Node* companion, shapes::TypeId type);
  void push_companion_children(const json::Node* companion, const json::Name* wanted,
                               std::string_view text);
  [[noreturn]] void too_many_items() const;
  [[noreturn]] void too_many_steps() const;

  const Program& program_;
  const Context& context_;
  Workspace& workspace_;
  Workspace::State& state_;
  const Host* host_;
  std::size_t steps_left_ = base::limits::kEvaluationStepsMax;
  const Tree* current_ = nullptr;
  bool explaining_ = false;
  // The last resourceType met and its type: the entries of a Bundle are much alike.
  std::string_view last_resource_type_;
  shapes::TypeId last_resource_ = shapes::kNoType;
};

// The nearest resource that a node is in, and the container of a contained one. nullptr for a node
// of no resource.
const json::Node* nearest_resource(const json::Node* node);
const json::Node* container_of(const json::Node* resource);

// --- operators.cc: the binary operators on evaluated operands. They push their result.
void push_binary(Machine& machine, const Tree& tree, Items left, Items right);
// Less, equal, greater or unknown, of two System values; an error when their types cannot be
// ordered.
enum class Comparison : std::uint8_t { kLess, kEqual, kGreater, kUnknown };
Comparison compare_values(Machine& machine, const Item& a, const Item& b);

// --- arithmetic.cc
void push_arithmetic(Machine& machine, Op op, const Item& left, const Item& right);
// The negative of a number or quantity.
Item negated(Machine& machine, const Item& value);
// A number as a Decimal; nullopt for other kinds.
std::optional<base::Decimal> number_of(const Item& value);
// Integer when it was made of Integers and fits, else kNothing (overflow).
Item integer_item(std::int64_t value, bool is_long);

// --- equality.cc
Truth equal(Machine& machine, const Item& a, const Item& b);
Truth equal(Machine& machine, Items a, Items b);
bool equivalent(Machine& machine, const Item& a, const Item& b);
bool equivalent(Machine& machine, Items a, Items b);

// A set of items under `=`.
class DistinctItems {
 public:
  explicit DistinctItems(Machine& machine) : machine_(machine) {}
  // False when an equal item is there already.
  bool insert(const Item& item);
  bool contains(const Item& item);

 private:
  struct Entry {
    Item item;
    std::uint64_t hash;
    Entry* next;
  };

  static constexpr std::size_t kBuckets = 4096;
  static constexpr std::size_t kInlineMax = 16;

  Entry* find(const Item& item, std::uint64_t hash);
  std::uint64_t hash_of(const Item& item);

  Machine& machine_;
  // The first entries stand in the set itself, so that small sets in loops cost the arena nothing.
  std::array<Entry, kInlineMax> inline_;
  Entry* first_ = nullptr;
  Entry** buckets_ = nullptr;  // made when the set has grown
  std::size_t size_ = 0;
  bool has_quantity_ = false;  // equal to numbers of another hash, so everything is looked at
};

}  // namespace engine::fhirpath
