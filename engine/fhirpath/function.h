#pragma once
// The functions of the language as rows of tables, one table a chapter of the specification.
// Internal to the folder.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

#include "engine/fhirpath/machine.h"

namespace engine::fhirpath {

// One call being evaluated. The input lies on the stack from `base`; a function evaluates its
// arguments, and what it gives becomes the result.
class Call {
 public:
  Call(Machine& the_machine, const Tree& the_tree, Scope& the_scope, std::size_t base)
      : machine(the_machine),
        tree(the_tree),
        scope(the_scope),
        base_(base),
        count_(the_machine.top() - base) {}

  Items input() const { return {machine.at(base_), count_}; }
  std::size_t arguments() const { return tree.count; }
  bool has_argument(std::size_t i) const { return i < tree.count; }

  // An argument evaluated where the call stands; valid until the call ends.
  Items argument(std::size_t i);
  // An argument evaluated with $this = item; popped again, valid until the next push.
  Items lambda(std::size_t i, const Item& item, std::int64_t index);
  // The single input as a System value; kNothing when empty; an error for several.
  Item single_input() { return machine.single(input()); }

  // nullopt when empty; an error when it is something else.
  std::optional<std::string_view> string_input();
  std::optional<base::Decimal> number_input();
  std::optional<std::string_view> string_argument(std::size_t i);
  std::optional<std::int64_t> integer_argument(std::size_t i);
  std::optional<base::Decimal> number_argument(std::size_t i);

  // The result: everything pushed after begin(), or the one item. Without either, it is empty.
  void begin() {
    result_ = machine.top();
    begun_ = true;
  }
  std::size_t result_start() const { return result_; }
  void give(const Item& item) {
    begin();
    machine.push(item);
  }
  void give(bool value) { give(Item::of_boolean(value)); }
  void give_string(std::string_view text) { give(machine.make_string(text)); }
  void finish() {
    if (begun_) {
      machine.slide(base_, result_);
    } else {
      machine.drop_to(base_);
    }
  }

  Machine& machine;
  const Tree& tree;
  Scope& scope;

 private:
  std::size_t base_;
  std::size_t count_;
  std::size_t result_ = 0;
  bool begun_ = false;
};

// What is known of a result before anything is evaluated.
enum class Gives : std::uint8_t {
  kUnknown,
  kBoolean,
  kInteger,
  kDecimal,
  kString,
  kDate,
  kDateTime,
  kTime,
  kQuantity,
  kInput,      // items of the input
  kArgument,   // what the first argument gives for each item
  kBranches,   // iif: what the second and third arguments give
  kTogether,   // the input and the first argument
  kSpecifier,  // the type named in the argument
  kChildren,   // elements of any type in no order
};

struct Function {
  std::string_view name;
  std::uint8_t arguments_min;
  std::uint8_t arguments_max;
  Gives gives;
  void (*evaluate)(Call&);
  bool lambda = false;       // arguments see each item as $this
  bool needs_order = false;  // meaningless on a collection without order
  bool on_text = false;      // the input must be a string
};

std::span<const Function> existence_functions();
std::span<const Function> filter_functions();
std::span<const Function> subset_functions();
std::span<const Function> conversion_functions();
std::span<const Function> string_functions();
std::span<const Function> encoding_functions();
std::span<const Function> math_functions();
std::span<const Function> boundary_functions();
std::span<const Function> date_functions();
std::span<const Function> tree_functions();
std::span<const Function> fhir_functions();

// nullptr when there is none of that name.
const Function* find_function(std::string_view name);
// The function with the most similar name; empty when none is near.
std::string_view nearest_function(std::string_view name);

// Edit distance, for "did you mean"; stops counting at `most` + 1.
std::size_t edit_distance(std::string_view a, std::string_view b, std::size_t most);

}  // namespace engine::fhirpath
