// Resolves the names of a tree against the type model, the functions and the variables, so that
// evaluation compares pointers only, and refuses what cannot be meant.

#include <array>
#include <optional>
#include <utility>

#include "engine/fhirpath/function.h"
#include "engine/fhirpath/kinds.h"
#include "engine/fhirpath/program.h"
#include "engine/fhirpath/regex.h"
#include "engine/fhirpath/specifier.h"

namespace engine::fhirpath {
namespace {

bool is_upper(std::string_view name) {
  return !name.empty() && name.front() >= 'A' && name.front() <= 'Z';
}

class Analysis {
 public:
  Analysis(Program& program, const Options& options)
      : program_(program), options_(options), types_(options.types) {}

  void run(Tree& root) {
    collect_definitions(root);
    visit(root, Kinds::of_node(options_.context_type));
  }

 private:
  [[noreturn]] static void refuse(const Tree& tree, std::string detail) {
    throw SyntaxError{tree.begin, std::move(detail)};
  }

  // The names that defineVariable() gives anywhere; their places are checked when they are used.
  void collect_definitions(const Tree& tree) {
    if (tree.op == Op::kFunction && tree.name == "defineVariable" && tree.count > 0) {
      if (tree.args[0]->op == Op::kLiteral && tree.args[0]->literal.kind == ItemKind::kString) {
        defined_.push_back(tree.args[0]->literal.text());
      } else {
        defines_any_ = true;
      }
    }
    for (std::uint32_t i = 0; i < tree.count; ++i) {
      collect_definitions(*tree.args[i]);
    }
  }

  Kinds visit(Tree& tree, const Kinds& self) {
    switch (tree.op) {
      case Op::kLiteral:
        return Kinds::of_system(tree.literal.kind);
      case Op::kEmpty:
        return Kinds::nothing();
      case Op::kThis:
        return self;
      case Op::kIndex:
        return Kinds::of_system(ItemKind::kInteger);
      case Op::kTotal:
        return {};
      case Op::kVariable:
        return variable(tree);
      case Op::kMember:
        return root_member(tree, self);
      case Op::kFunction:
      case Op::kSubscript:
        return step(tree, self, self);
      case Op::kPath: {
        Kinds kinds = visit(*tree.args[0], self);
        for (std::uint32_t i = 1; i < tree.count; ++i) {
          kinds = step(*tree.args[i], kinds, self);
        }
        return kinds;
      }
      default:
        return operation(tree, self);
    }
  }

  Kinds operation(Tree& tree, const Kinds& self) {
    const Kinds left = visit(*tree.args[0], self);
    switch (tree.op) {
      case Op::kIs:
        tree.specifier = specifier(*tree.args[1]);
        return Kinds::of_system(ItemKind::kBoolean);
      case Op::kAs:
        tree.specifier = specifier(*tree.args[1]);
        return kinds_of(*tree.specifier);
      case Op::kNegate:
      case Op::kPlus:
      case Op::kDescending:
        return left;
      default:
        break;
    }
    const Kinds right = visit(*tree.args[1], self);
    if (tree.op == Op::kUnion) {
      return left.united_with(right);
    }
    if (tree.op == Op::kConcatenate) {
      return Kinds::of_system(ItemKind::kString);
    }
    if (tree.op < Op::kUnion) {
      return {};  // arithmetic: the operands decide
    }
    return Kinds::of_system(ItemKind::kBoolean);
  }

  Kinds step(Tree& tree, const Kinds& input, const Kinds& self) {
    switch (tree.op) {
      case Op::kMember:
        return member(tree, input);
      case Op::kFunction:
        return function(tree, input, self);
      case Op::kSubscript:
        visit(*tree.args[0], self);
        check_order(tree, input, "an index");
        return input;
      case Op::kIndex:
      case Op::kTotal:
        return visit(tree, self);
      default:
        return input;
    }
  }

  // --- Names

  void intern(Tree& tree) const {
    if (types_ != nullptr) {
      tree.member = types_->names().find(tree.name);
    }
  }

  Kinds root_member(Tree& tree, const Kinds& self) {
    intern(tree);
    if (!tree.root || types_ == nullptr || !is_upper(tree.name)) {
      return member(tree, self);
    }
    const std::optional<shapes::TypeId> type = types_->model().find(tree.name);
    if (!type) {
      return member(tree, self);
    }
    tree.root_type = *type;
    if (!self.known) {
      return self.nodes.empty() && self.systems == 0 ? Kinds::of_node(*type) : Kinds();
    }
    for (const shapes::TypeId candidate : self.nodes) {
      if (types_->model().is_a(candidate, *type)) {
        return self;
      }
    }
    return member(tree, self);
  }

  Kinds member(Tree& tree, const Kinds& input) {
    intern(tree);
    if (types_ == nullptr || !input.known) {
      return unordered_like(input);
    }
    Kinds result = Kinds::nothing();
    result.ordered = input.ordered;
    bool found = false;
    for (const shapes::TypeId type : input.nodes) {
      const shapes::Element* element =
          tree.member != nullptr ? types_->element(type, tree.member) : nullptr;
      if (element != nullptr) {
        found = true;
        for (const shapes::Member& member : element->members) {
          result.add(member.type);
        }
        if (input.is_one_node_type()) {
          tree.type = type;
          tree.element = element;
          tree.choice_mask = mask_of(*element);
        }
      } else if (types_->names_itself(type)) {
        // Some resource: which one shows only when it is met.
        found = true;
        result.known = false;
      }
    }
    for (const shapes::TypeId type : result.nodes) {
      if (types_->names_itself(type)) {
        result.known = false;
      }
    }
    if (found || input.can_be_nothing_else_than_empty()) {
      return found ? result : Kinds();
    }
    if (options_.strict) {
      refuse(tree, unknown_member(tree.name, input));
    }
    return Kinds();
  }

  static std::uint64_t mask_of(const shapes::Element& element) {
    std::uint64_t mask = 0;
    for (const shapes::Member& member : element.members) {
      mask |= std::uint64_t{1} << (member.name->id % 64);
      if (member.companion != nullptr) {
        mask |= std::uint64_t{1} << (member.companion->id % 64);
      }
    }
    return mask;
  }

  static Kinds unordered_like(const Kinds& input) {
    Kinds kinds;
    kinds.ordered = input.ordered;
    return kinds;
  }

  std::string unknown_member(std::string_view name, const Kinds& input) const {
    if (input.nodes.empty()) {
      return "a value of the language has no element '" + std::string(name) + "'";
    }
    const shapes::TypeInfo& info = types_->model().info(input.nodes.front());
    std::string text = std::string(info.name) + " has no element '" + std::string(name) + "'";
    std::string_view nearest;
    std::size_t best = 3;
    for (const shapes::Element& element : info.elements) {
      for (const shapes::Member& member : element.members) {
        if (element.choice && member.name->text == name) {
          return text + "; a choice is addressed by its stem: '" + std::string(element.stem->text) +
                 "'";
        }
      }
      const std::size_t distance = edit_distance(name, element.stem->text, best);
      if (distance < best) {
        best = distance;
        nearest = element.stem->text;
      }
    }
    return nearest.empty() ? text : text + "; the nearest is '" + std::string(nearest) + "'";
  }

  // --- Variables

  void make_constant(Tree& tree, std::string_view prefix, std::string_view rest) {
    std::string text(prefix);
    text += rest;
    tree.op = Op::kLiteral;
    tree.literal = Item::of_string(program_.arena.copy(text));
  }

  Kinds variable(Tree& tree) {
    constexpr std::pair<std::string_view, std::string_view> kConstants[] = {
        {"ucum", "http://unitsofmeasure.org"},
        {"sct", "http://snomed.info/sct"},
        {"loinc", "http://loinc.org"}};
    for (const auto& [name, url] : kConstants) {
      if (tree.name == name) {
        make_constant(tree, url, {});
        return Kinds::of_system(ItemKind::kString);
      }
    }
    if (tree.name.starts_with("vs-")) {
      make_constant(tree, "http://hl7.org/fhir/ValueSet/", tree.name.substr(3));
      return Kinds::of_system(ItemKind::kString);
    }
    if (tree.name.starts_with("ext-")) {
      make_constant(tree, "http://hl7.org/fhir/StructureDefinition/", tree.name.substr(4));
      return Kinds::of_system(ItemKind::kString);
    }
    for (std::size_t i = 0; i < options_.variables.size(); ++i) {
      if (options_.variables[i].name == tree.name) {
        tree.variable = Variable::kDeclared;
        tree.index = static_cast<std::uint32_t>(i);
        return types_ != nullptr ? Kinds::of_node(options_.variables[i].type) : Kinds();
      }
    }
    if (tree.name == "context") {
      tree.variable = Variable::kContext;
      return Kinds::of_node(options_.context_type);
    }
    if (tree.name == "resource" || tree.name == "rootResource") {
      tree.variable = tree.name == "resource" ? Variable::kResource : Variable::kRootResource;
      return {};
    }
    tree.variable = Variable::kDefined;
    if (!defines_any_ && std::find(defined_.begin(), defined_.end(), tree.name) == defined_.end()) {
      refuse(tree, "there is no variable %" + std::string(tree.name));
    }
    return {};
  }

  // --- Functions

  void check_arity(const Tree& tree, std::size_t least, std::size_t most) const {
    if (tree.count >= least && tree.count <= most) {
      return;
    }
    std::string wanted = std::to_string(least);
    if (most != least) {
      wanted += most >= 255 ? " or more" : " to " + std::to_string(most);
    }
    refuse(tree, std::string(tree.name) + "() takes " + wanted +
                     (wanted == "1" ? " argument" : " arguments") + ", not " +
                     std::to_string(tree.count));
  }

  void check_order(const Tree& tree, const Kinds& input, std::string_view what) const {
    if (options_.strict && !input.ordered) {
      refuse(tree,
             std::string(what) + " needs an order, and children() and descendants() have none");
    }
  }

  bool find_host_function(Tree& tree, const Kinds& self) {
    for (const HostFunction& function : program_.functions) {
      if (function.name == tree.name) {
        check_arity(tree, function.arguments_min, function.arguments_max);
        tree.op = Op::kHostCall;
        tree.host = &function;
        for (std::uint32_t i = 0; i < tree.count; ++i) {
          visit(*tree.args[i], self);
        }
        return true;
      }
    }
    return false;
  }

  Kinds function(Tree& tree, const Kinds& input, const Kinds& self) {
    if (find_host_function(tree, self)) {
      return {};
    }
    tree.function = find_function(tree.name);
    if (tree.function == nullptr) {
      const std::string_view nearest = nearest_function(tree.name);
      refuse(tree, "there is no function '" + std::string(tree.name) + "'" +
                       (nearest.empty() ? "" : "; the nearest is '" + std::string(nearest) + "'"));
    }
    const Function& function = *tree.function;
    check_arity(tree, function.arguments_min, function.arguments_max);
    if (function.needs_order) {
      check_order(tree, input, std::string(tree.name) + "()");
    }
    if (function.on_text) {
      check_text(tree, input);
    }
    if (tree.name == "is" || tree.name == "as" || tree.name == "ofType") {
      tree.specifier = specifier(*tree.args[0]);
      return result_of(tree, input, {});
    }
    if (tree.name == "repeat" || tree.name == "repeatAll") {
      return repeated(tree, input);
    }
    std::vector<Kinds> arguments;
    for (std::uint32_t i = 0; i < tree.count; ++i) {
      const bool sees_item = function.lambda && !(tree.name == "aggregate" && i == 1);
      arguments.push_back(visit(*tree.args[i], sees_item ? input : self));
    }
    compile_pattern(tree);
    return result_of(tree, input, arguments);
  }

  // The projection sees the input first and then its own results.
  Kinds repeated(Tree& tree, const Kinds& input) {
    Kinds seen = input;
    for (int round = 0; round < 4; ++round) {
      const Kinds found = visit(*tree.args[0], seen);
      const Kinds next = seen.united_with(found);
      if (!next.known || (next.nodes.size() == seen.nodes.size() && next.systems == seen.systems)) {
        if (next.known) {
          return found;
        }
        break;
      }
      seen = next;
    }
    visit(*tree.args[0], Kinds());
    return {};
  }

  void check_text(const Tree& tree, const Kinds& input) const {
    if (!options_.strict || !input.known || types_ == nullptr ||
        input.can_be_nothing_else_than_empty()) {
      return;
    }
    if ((input.systems & 1U << static_cast<unsigned>(ItemKind::kString)) != 0) {
      return;
    }
    for (const shapes::TypeId type : input.nodes) {
      if (types_->value_class(type) == ValueClass::kString) {
        return;
      }
    }
    refuse(tree,
           std::string(tree.name) + "() works on strings, and this is " +
               (input.nodes.empty() ? std::string("another value")
                                    : std::string(types_->model().info(input.nodes.front()).name)));
  }

  Kinds result_of(const Tree& tree, const Kinds& input, const std::vector<Kinds>& arguments) const {
    switch (tree.function->gives) {
      case Gives::kBoolean:
        return Kinds::of_system(ItemKind::kBoolean);
      case Gives::kInteger:
        return Kinds::of_system(ItemKind::kInteger);
      case Gives::kDecimal:
        return Kinds::of_system(ItemKind::kDecimal);
      case Gives::kString:
        return Kinds::of_system(ItemKind::kString);
      case Gives::kDate:
        return Kinds::of_system(ItemKind::kDate);
      case Gives::kDateTime:
        return Kinds::of_system(ItemKind::kDateTime);
      case Gives::kTime:
        return Kinds::of_system(ItemKind::kTime);
      case Gives::kQuantity:
        return Kinds::of_system(ItemKind::kQuantity);
      case Gives::kInput: {
        Kinds kinds = input;
        kinds.ordered = input.ordered || tree.name == "sort";
        return kinds;
      }
      case Gives::kArgument:
        return arguments.front();
      case Gives::kBranches:
        return arguments.size() > 2 ? arguments[1].united_with(arguments[2]) : arguments[1];
      case Gives::kTogether:
        return input.united_with(arguments.front());
      case Gives::kSpecifier:
        return kinds_of(*tree.specifier);
      case Gives::kChildren: {
        Kinds kinds;
        kinds.ordered = false;
        return kinds;
      }
      case Gives::kUnknown:
        break;
    }
    if (tree.name == "extension" && types_ != nullptr) {
      return Kinds::of_node(types_->extension());
    }
    return {};
  }

  // A regular expression that is known now is compiled now.
  void compile_pattern(Tree& tree) {
    const bool has_pattern =
        tree.name == "matches" || tree.name == "matchesFull" || tree.name == "replaceMatches";
    const bool has_flags = tree.count > (tree.name == "replaceMatches" ? 2U : 1U);
    if (!has_pattern || has_flags || tree.args[0]->op != Op::kLiteral ||
        tree.args[0]->literal.kind != ItemKind::kString) {
      return;
    }
    std::unique_ptr<re2::RE2> regex = compile_regex(tree.args[0]->literal.text(), {});
    if (!regex->ok()) {
      refuse(*tree.args[0], "the regular expression cannot be used: " + regex->error());
    }
    tree.pattern = regex.get();
    program_.patterns.push_back(std::move(regex));
  }

  // --- Types

  const TypeSpecifier* specifier(const Tree& tree) {
    const base::Result<TypeSpecifier> found = read_specifier(tree, types_, program_.arena);
    if (!found) {
      refuse(tree, found.error().detail);
    }
    return program_.arena.make<TypeSpecifier>(*found);
  }

  Kinds kinds_of(const TypeSpecifier& type) const {
    if (type.any || (type.node_type == shapes::kNoType && type.system == ItemKind::kNothing)) {
      return {};
    }
    Kinds kinds =
        type.node_type != shapes::kNoType ? Kinds::of_node(type.node_type) : Kinds::nothing();
    if (type.system != ItemKind::kNothing) {
      kinds.systems |= 1U << static_cast<unsigned>(type.system);
    }
    if (types_ != nullptr && types_->names_itself(type.node_type)) {
      kinds.known = false;
    }
    return kinds;
  }

  Program& program_;
  const Options& options_;
  const Types* types_;
  std::vector<std::string_view> defined_;
  bool defines_any_ = false;
};

}  // namespace

void analyze(Program& program, Tree& root, const Options& options) {
  Analysis(program, options).run(root);
}

}  // namespace engine::fhirpath
