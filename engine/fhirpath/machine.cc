#include "engine/fhirpath/machine.h"

#include <cstring>

#include "engine/fhirpath/function.h"
#include "engine/fhirpath/temporal.h"

namespace engine::fhirpath {
namespace {

const Host& silent_host() {
  static const Host host;
  return host;
}

}  // namespace

Workspace::State::State()
    : memory(new std::byte[base::limits::kCollectionItemsMax * sizeof(Item)]),
      items(reinterpret_cast<Item*>(memory.get())) {}

Machine::Machine(const Program& program, const Context& context, Workspace& workspace)
    : program_(program),
      context_(context),
      workspace_(workspace),
      state_(workspace.state()),
      host_(context.host != nullptr ? context.host : &silent_host()),
      current_(program.root),
      explaining_(host_->wants_steps()) {
  ++state_.nesting;
}

void Machine::fail(std::string detail, base::ErrorCode code) const {
  throw EvaluationError{code, std::move(detail), current_};
}

void Machine::too_many_items() const {
  fail("more than " + std::to_string(base::limits::kCollectionItemsMax) +
           " items at once in one evaluation",
       base::ErrorCode::kLimit);
}

void Machine::too_many_steps() const {
  fail("an evaluation of more than " + std::to_string(base::limits::kEvaluationStepsMax) + " steps",
       base::ErrorCode::kLimit);
}

void Machine::push_all(Items items) {
  if (items.empty()) {
    return;
  }
  if (items.size() > base::limits::kCollectionItemsMax - state_.top) {
    too_many_items();
  }
  tick(items.size());
  // The items may be the popped ones that lie exactly there.
  std::memmove(static_cast<void*>(state_.items + state_.top), items.data(),
               items.size() * sizeof(Item));
  state_.top += items.size();
}

void Machine::slide(std::size_t base, std::size_t start) {
  if (base == start) {
    return;
  }
  const std::size_t count = state_.top - start;
  std::memmove(static_cast<void*>(state_.items + base), state_.items + start, count * sizeof(Item));
  state_.top = base + count;
}

Items Machine::keep(Items items) {
  Item* copy = arena().make_array<Item>(items.size());
  if (!items.empty()) {
    std::memcpy(static_cast<void*>(copy), items.data(), items.size() * sizeof(Item));
  }
  return {copy, items.size()};
}

Items Machine::evaluated(const Tree& tree, Scope& scope) {
  const std::size_t base = top();
  evaluate(tree, scope);
  const Items result = from(base);
  drop_to(base);
  return result;
}

void Machine::evaluate(const Tree& tree, Scope& scope) {
  const std::size_t base = top();
  evaluate_operation(tree, scope);
  if (explaining_ && tree.op != Op::kLiteral && tree.op != Op::kPath) {
    host_->step(std::string_view(program_.text).substr(tree.begin, tree.end - tree.begin),
                from(base));
  }
}

void Machine::evaluate_operation(const Tree& tree, Scope& scope) {
  tick();
  switch (tree.op) {
    case Op::kLiteral:
      push(tree.literal);
      return;
    case Op::kEmpty:
      return;
    case Op::kThis:
      push_all(scope.self);
      return;
    case Op::kIndex:
      current_ = &tree;
      if (scope.index < 0) {
        fail("$index has a value only inside where(), select() and the like");
      }
      push(Item::of_integer(scope.index));
      return;
    case Op::kTotal:
      current_ = &tree;
      if (scope.total == nullptr) {
        fail("$total has a value only inside aggregate()");
      }
      push_all(*scope.total);
      return;
    case Op::kVariable:
      variable(tree, scope);
      return;
    case Op::kMember:
      root_member(tree, scope);
      return;
    case Op::kFunction:
    case Op::kHostCall:
    case Op::kSubscript: {
      const std::size_t base = top();
      push_all(scope.self);
      step(tree, base, scope);
      return;
    }
    case Op::kPath:
      evaluate_path(tree, scope);
      return;
    case Op::kAnd:
    case Op::kOr:
    case Op::kXor:
    case Op::kImplies:
      logic(tree, scope);
      return;
    case Op::kIs:
    case Op::kAs:
      cast(tree, scope);
      return;
    default:
      binary(tree, scope);
  }
}

void Machine::evaluate_path(const Tree& tree, Scope& scope) {
  const std::size_t base = top();
  evaluate(*tree.args[0], scope);
  for (std::uint32_t i = 1; i < tree.count; ++i) {
    const Tree& next = *tree.args[i];
    step(next, base, scope);
    if (explaining_) {
      host_->step(std::string_view(program_.text).substr(tree.begin, next.end - tree.begin),
                  from(base));
    }
  }
}

void Machine::step(const Tree& tree, std::size_t base, Scope& scope) {
  switch (tree.op) {
    case Op::kMember: {
      const std::size_t count = top() - base;
      if (count == 1) {
        drop_to(base);
        push_children(*at(base), tree);  // which reads the item before it writes there
        return;
      }
      const std::size_t start = top();
      for (std::size_t i = 0; i < count; ++i) {
        push_children(*at(base + i), tree);
      }
      slide(base, start);
      return;
    }
    case Op::kFunction:
      call(tree, base, scope);
      return;
    case Op::kHostCall:
      call_host(tree, base, scope);
      return;
    case Op::kSubscript:
      subscript(tree, base, scope);
      return;
    case Op::kIndex:
    case Op::kTotal:
      drop_to(base);
      evaluate_operation(tree, scope);
      return;
    default:
      return;  // $this after a dot is the input itself
  }
}

void Machine::call(const Tree& tree, std::size_t base, Scope& scope) {
  current_ = &tree;
  tick(1 + top() - base);
  Call call(*this, tree, scope, base);
  tree.function->evaluate(call);
  call.finish();
}

void Machine::call_host(const Tree& tree, std::size_t base, Scope& scope) {
  current_ = &tree;
  const std::size_t count = top() - base;
  std::vector<Items> arguments;
  arguments.reserve(tree.count);
  for (std::uint32_t i = 0; i < tree.count; ++i) {
    const std::size_t start = top();
    Scope inner = scope;
    evaluate(*tree.args[i], inner);
    arguments.push_back(from(start));
  }
  current_ = &tree;
  const Items input(at(base), count);
  base::Result<std::vector<Item>> result = tree.host->call(input, arguments, workspace_);
  if (!result) {
    fail(std::move(result.error().detail), result.error().code);
  }
  const std::size_t start = top();
  push_all(*result);
  slide(base, start);
}

void Machine::subscript(const Tree& tree, std::size_t base, Scope& scope) {
  const std::size_t count = top() - base;
  Scope inner = scope;
  const Item index = single(evaluated(*tree.args[0], inner));
  if (!index.is_nothing() && index.kind != ItemKind::kInteger) {
    current_ = &tree;
    fail("an index in brackets is an integer");
  }
  if (index.is_nothing() || index.integer < 0 || static_cast<std::size_t>(index.integer) >= count) {
    drop_to(base);
    return;
  }
  const Item item = *at(base + static_cast<std::size_t>(index.integer));
  drop_to(base);
  push(item);
}

// The first name of a path: the type of the focus, or one of its children.
void Machine::root_member(const Tree& tree, const Scope& scope) {
  for (const Item& item : scope.self) {
    if (tree.root_type != shapes::kNoType && item.is_node() &&
        types()->model().is_a(item.type, tree.root_type)) {
      push(item);
    } else if (tree.root && item.is_node() && item.type == shapes::kNoType &&
               item.at.node != nullptr && item.at.node->string_at("resourceType") == tree.name) {
      push(item);
    } else {
      push_children(item, tree);
    }
  }
}

void Machine::variable(const Tree& tree, const Scope& scope) {
  switch (tree.variable) {
    case Variable::kContext:
      push_all(context_.context.empty() ? context_.focus : context_.context);
      return;
    case Variable::kResource: {
      const Item item = resource();
      if (!item.is_nothing()) {
        push(item);
      }
      return;
    }
    case Variable::kRootResource: {
      const Item item = root_resource();
      if (!item.is_nothing()) {
        push(item);
      }
      return;
    }
    case Variable::kDeclared:
      if (tree.index < context_.variables.size()) {
        push_all(context_.variables[tree.index]);
      }
      return;
    case Variable::kDefined:
      for (const Binding* binding = scope.bindings; binding != nullptr; binding = binding->outer) {
        if (binding->name == tree.name) {
          push_all(binding->value);
          return;
        }
      }
      current_ = &tree;
      fail("the variable %" + std::string(tree.name) + " is not defined here");
  }
}

// The operands have their own variables, so that `a.defineVariable('x') | b.defineVariable('x')` is
// no clash.
void Machine::logic(const Tree& tree, Scope& scope) {
  const Binding* bindings = scope.bindings;
  const Truth left = truth(evaluated(*tree.args[0], scope));
  scope.bindings = bindings;
  const bool decided = (tree.op == Op::kAnd && left == Truth::kFalse) ||
                       (tree.op == Op::kOr && left == Truth::kTrue) ||
                       (tree.op == Op::kImplies && left == Truth::kFalse);
  if (decided) {
    push_boolean(tree.op != Op::kAnd);
    return;
  }
  const Truth right = truth(evaluated(*tree.args[1], scope));
  scope.bindings = bindings;
  const bool unknown = left == Truth::kEmpty || right == Truth::kEmpty;
  switch (tree.op) {
    case Op::kAnd:
      if (right == Truth::kFalse) {
        push_boolean(false);
      } else if (!unknown) {
        push_boolean(true);
      }
      return;
    case Op::kXor:
      if (!unknown) {
        push_boolean(left != right);
      }
      return;
    default:  // or, implies
      if (right == Truth::kTrue) {
        push_boolean(true);
      } else if (!unknown) {
        push_boolean(false);
      }
  }
}

void Machine::cast(const Tree& tree, Scope& scope) {
  const std::size_t base = top();
  evaluate(*tree.args[0], scope);
  const std::size_t count = top() - base;
  current_ = &tree;
  if (tree.op == Op::kIs) {
    if (count > 1) {
      fail("'is' tests one item, not " + std::to_string(count));
    }
    if (count == 1) {
      const bool result = is_of(*at(base), *tree.specifier);
      drop_to(base);
      push_boolean(result);
    }
    return;
  }
  if (count > 1 && !program_.as_filters) {
    fail("'as' casts one item, not " + std::to_string(count) + "; ofType() filters");
  }
  drop_to(base);
  for (std::size_t i = 0; i < count; ++i) {
    const Item item = *at(base + i);
    if (is_exactly(item, *tree.specifier)) {
      push(item);
    }
  }
}

void Machine::binary(const Tree& tree, Scope& scope) {
  const Binding* bindings = scope.bindings;
  const std::size_t base = top();
  evaluate(*tree.args[0], scope);
  scope.bindings = bindings;
  if (tree.op == Op::kNegate || tree.op == Op::kPlus) {
    current_ = &tree;
    const Item value = single(from(base));
    drop_to(base);
    if (!value.is_nothing()) {
      push(tree.op == Op::kNegate ? negated(*this, value) : value);
    }
    return;
  }
  if (tree.op == Op::kDescending) {
    return;
  }
  const std::size_t middle = top();
  evaluate(*tree.args[1], scope);
  scope.bindings = bindings;
  const std::size_t end = top();
  current_ = &tree;
  push_binary(*this, tree, {at(base), middle - base}, {at(middle), end - middle});
  slide(base, end);
}

Item Machine::single(Items items) {
  if (items.empty()) {
    return {};
  }
  if (items.size() > 1) {
    fail("one item is expected here, not " + std::to_string(items.size()));
  }
  const Item value = value_of(items.front());
  return value.is_nothing() && items.front().at.node != nullptr ? items.front() : value;
}

Truth Machine::truth(Items items) {
  if (items.empty()) {
    return Truth::kEmpty;
  }
  if (items.size() > 1) {
    fail("one item is expected here, not " + std::to_string(items.size()));
  }
  const Item& item = items.front();
  if (item.kind == ItemKind::kBoolean) {
    return item.boolean ? Truth::kTrue : Truth::kFalse;
  }
  if (item.kind == ItemKind::kNode && item.at.node != nullptr && item.at.node->is_boolean()) {
    return item.at.node->boolean ? Truth::kTrue : Truth::kFalse;
  }
  return Truth::kTrue;
}

bool Machine::is_of(const Item& item, const TypeSpecifier& type) const {
  if (type.any) {
    return true;
  }
  if (item.kind != ItemKind::kNode) {
    return item.kind == type.system &&
           (item.kind != ItemKind::kInteger || (item.length != 0) == type.is_long);
  }
  if (item.type == shapes::kNoType) {
    return item.at.node != nullptr && item.at.node->string_at("resourceType") == type.name;
  }
  return types() != nullptr && types()->model().is_a(item.type, type.node_type);
}

bool Machine::is_exactly(const Item& item, const TypeSpecifier& type) const {
  if (item.kind == ItemKind::kNode && item.type != shapes::kNoType && !type.any &&
      types()->model().info(item.type).kind == shapes::TypeKind::kPrimitive) {
    return item.type == type.node_type;
  }
  return is_of(item, type);
}

}  // namespace engine::fhirpath
