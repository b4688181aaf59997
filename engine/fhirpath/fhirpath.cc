#include "engine/fhirpath/fhirpath.h"

#include <new>
#include <utility>

#include "engine/base/utf8.h"
#include "engine/fhirpath/machine.h"
#include "engine/fhirpath/program.h"

namespace engine::fhirpath {
namespace {

base::Error syntax_error(const SyntaxError& error, std::string_view text, json::Position origin) {
  return {error.code, error.detail, place(text, error.offset, origin)};
}

base::Error out_of_memory(const char* what) {
  return {base::ErrorCode::kLimit, std::string(what) + " needs more memory than is allowed"};
}

// Restores the stack, whatever way an evaluation ends.
class StackGuard {
 public:
  explicit StackGuard(Workspace::State& state) : state_(state), top_(state.top) {}
  ~StackGuard() { state_.top = top_; }
  StackGuard(const StackGuard&) = delete;
  StackGuard& operator=(const StackGuard&) = delete;

 private:
  Workspace::State& state_;
  std::size_t top_;
};

// Evaluates and hands the machine, with the result on top of its stack, to `finish`.
template <class T, class Finish>
base::Result<T> run(const Program& program, const Context& context, Workspace& workspace,
                    Finish finish) {
  Workspace::State& state = workspace.state();
  if (state.nesting >= base::limits::kEvaluationNestingMax) {
    return base::Error(base::ErrorCode::kLimit,
                       "evaluations nested deeper than " +
                           std::to_string(base::limits::kEvaluationNestingMax) + " levels");
  }
  const StackGuard guard(state);
  try {
    Machine machine(program, context, workspace);
    const std::size_t base = machine.top();
    Scope scope;
    scope.self = context.focus;
    machine.evaluate(*program.root, scope);
    machine.set_current(*program.root);
    return finish(machine, machine.from(base));
  } catch (EvaluationError& error) {
    return base::Error(
        error.code, std::move(error.detail),
        place(program.text, error.tree != nullptr ? error.tree->begin : 0, program.origin));
  } catch (const std::bad_alloc&) {
    return out_of_memory("the evaluation");
  }
}

}  // namespace

// --- Workspace

Workspace::Workspace() : state_(std::make_unique<State>()) {}
Workspace::~Workspace() = default;
Workspace::Workspace(Workspace&&) noexcept = default;
Workspace& Workspace::operator=(Workspace&&) noexcept = default;

void Workspace::reset() {
  state_->arena.reset();
  state_->steps = 0;
}

std::size_t Workspace::steps() const {
  return state_->steps;
}

Item Workspace::make_string(std::string_view text) {
  return Item::of_string(state_->arena.copy(text));
}
Item Workspace::make_decimal(const base::Decimal& value) {
  return Item::of_decimal(state_->arena.make<base::Decimal>(value));
}
Item Workspace::make_quantity(const base::Decimal& value, std::string_view unit, bool calendar) {
  return Item::of_quantity(state_->arena.make<Quantity>(value, state_->arena.copy(unit), calendar));
}

// --- Expression

Expression::Expression(std::unique_ptr<const Program> program) : program_(std::move(program)) {}
Expression::~Expression() = default;
Expression::Expression(Expression&&) noexcept = default;
Expression& Expression::operator=(Expression&&) noexcept = default;

const std::string& Expression::text() const {
  return program_->text;
}
std::string Expression::tree() const {
  return print_tree(*program_->root);
}

base::Result<Items> Expression::evaluate(const Context& context, Workspace& workspace) const {
  return run<Items>(
      *program_, context, workspace,
      [](Machine& machine, Items result) -> base::Result<Items> { return machine.keep(result); });
}

base::Result<Truth> Expression::evaluate_boolean(const Context& context,
                                                 Workspace& workspace) const {
  return run<Truth>(
      *program_, context, workspace,
      [](Machine& machine, Items result) -> base::Result<Truth> { return machine.truth(result); });
}

base::Result<Expression> compile(std::string_view text, const Options& options) {
  if (const auto bad = base::find_invalid_utf8(text)) {
    return base::Error(base::ErrorCode::kInvalid, "a byte sequence that is not UTF-8",
                       place(text.substr(0, *bad), *bad, options.origin));
  }
  auto program = std::make_unique<Program>();
  try {
    program->types = options.types;
    program->origin = options.origin;
    program->as_filters = options.as_filters;
    program->functions.assign(options.functions.begin(), options.functions.end());
    // The tree's strings are copies in the arena; its offsets refer to this text.
    Tree* root = parse_tree(text, program->arena);
    program->text = text;
    analyze(*program, *root, options);
    program->root = root;
  } catch (const SyntaxError& error) {
    return syntax_error(error, text, options.origin);
  } catch (const std::bad_alloc&) {
    return out_of_memory("the expression");
  }
  return Expression(std::move(program));
}

base::Result<std::size_t> parse_prefix(std::string_view text, json::Position origin) {
  base::Arena arena;
  try {
    return parse_tree_prefix(text, arena);
  } catch (const SyntaxError& error) {
    return syntax_error(error, text, origin);
  }
}

Item system_value(const Item& item, const Types* types, Workspace& workspace) {
  Program program;
  program.types = types;
  const Context context;
  Machine machine(program, context, workspace);
  return machine.value_of(item);
}

// --- Host

Item Host::resolve(std::string_view, const Item&) const {
  return {};
}

base::Result<bool> Host::member_of(const Item&, std::string_view value_set) const {
  return base::Error(base::ErrorCode::kNotFound,
                     "the value set " + std::string(value_set) + " is not known here");
}

base::Result<bool> Host::conforms_to(const Item& item, std::string_view profile,
                                     const Types* types) const {
  constexpr std::string_view kBase = "http://hl7.org/fhir/StructureDefinition/";
  if (types != nullptr && item.is_node() && item.type != shapes::kNoType &&
      profile.starts_with(kBase)) {
    if (const auto type =
            types->model().find("FHIR." + std::string(profile.substr(kBase.size())))) {
      return types->model().is_a(item.type, *type);
    }
  }
  return base::Error(base::ErrorCode::kNotFound,
                     "the profile " + std::string(profile) + " is not known here");
}

base::Result<bool> Host::subsumes(const Item&, const Item&) const {
  return base::Error(base::ErrorCode::kNotFound, "the code system's hierarchy is not known here");
}
Item Host::element_definition(const Item&) const {
  return {};
}
base::Result<bool> Host::in_slice(const Item&, std::string_view profile, std::string_view) const {
  return base::Error(base::ErrorCode::kNotFound,
                     "the profile " + std::string(profile) + " is not known here");
}
void Host::trace(std::string_view, Items) const {}
void Host::step(std::string_view, Items) const {}

}  // namespace engine::fhirpath
