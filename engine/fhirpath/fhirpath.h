#pragma once
// FHIRPath: compile an expression once, evaluate it many times. Covers FHIRPath 2.0.0, the parts
// of 3.0 that the published R4 test file exercises, and the functions FHIR adds. No clock, no
// files: the current instant, references to other resources, value sets and profiles come from the
// caller.
//
// An Expression is immutable and may be evaluated from many threads, each with its own Workspace.
// Results and every text they point to live until the Workspace's next reset() and as long as the
// documents and the Expression.
//
//   fhirpath::Types types(model, names);               // once
//   auto expression = fhirpath::compile("name.given.first()", {.types = &types, .context_type =
//   patient}); fhirpath::Workspace workspace;                     // one a thread, reused
//   fhirpath::Item focus = types.resource(*document.root());
//   auto result = expression->evaluate({.focus = {&focus, 1}}, workspace);

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/fhirpath/item.h"
#include "engine/fhirpath/types.h"
#include "engine/json/document.h"

namespace engine::fhirpath {

class Workspace;

// What the world outside the expression answers. The defaults know nothing. Called during
// evaluate(), on its thread.
class Host {
 public:
  virtual ~Host() = default;
  // The resource behind a reference. Contained resources and entries of the same Bundle are found
  // without asking. kNothing when unknown.
  virtual Item resolve(std::string_view reference, const Item& from) const;
  // Whether a code, Coding, CodeableConcept or string is in a value set. Errors: kNotFound for an
  // unknown value set.
  virtual base::Result<bool> member_of(const Item& coded, std::string_view value_set) const;
  // Errors: kNotFound for an unknown profile. The default knows the base types: the item conforms
  // to http://hl7.org/fhir/StructureDefinition/X exactly when it is an X.
  virtual base::Result<bool> conforms_to(const Item& item, std::string_view profile,
                                         const Types* types) const;
  // Whether code a subsumes code b. Errors: kNotFound.
  virtual base::Result<bool> subsumes(const Item& a, const Item& b) const;
  // The ElementDefinition that an item follows; kNothing when unknown.
  virtual Item element_definition(const Item& item) const;
  // Whether an item is in the named slice of a profile. Errors: kNotFound.
  virtual base::Result<bool> in_slice(const Item& item, std::string_view profile,
                                      std::string_view slice) const;
  // The trace() function.
  virtual void trace(std::string_view name, Items items) const;
  // Each step of an evaluation, in the order they finish, only when wants_steps(): the part of the
  // expression's text and what it gave.
  virtual bool wants_steps() const { return false; }
  virtual void step(std::string_view part, Items result) const;
};

// A variable the evaluation will define: %name.
struct VariableDeclaration {
  std::string name;
  shapes::TypeId type = shapes::kNoType;  // kNoType: anything
};

// A function of the host, called as input.name(args). Results must live as long as the workspace's
// content.
struct HostFunction {
  std::string name;
  std::size_t arguments_min = 0;
  std::size_t arguments_max = 0;
  std::function<base::Result<std::vector<Item>>(Items input, std::span<const Items> arguments,
                                                Workspace& workspace)>
      call;
};

struct Options {
  const Types* types =
      nullptr;  // nullptr: names and types are not known, elements are JSON members
  shapes::TypeId context_type = shapes::kNoType;  // the type of the focus; kNoType: any
  // Strict: an element that a known type does not have, an operand of an impossible type or an
  // order-dependent function on an unordered collection is an error of compile(). Lenient: such a
  // path is empty.
  bool strict = false;
  // as(T) and `as T` on several items filter them, as the R4 invariants and search parameters want;
  // otherwise error.
  bool as_filters = false;
  std::span<const VariableDeclaration> variables = {};
  std::span<const HostFunction> functions = {};  // copied
  // Where the text starts in a larger one, for the positions in errors (both from 1).
  json::Position origin = {1, 1};
};

// Scratch memory of evaluations; reused, never shared between threads.
class Workspace {
 public:
  Workspace();
  ~Workspace();
  Workspace(Workspace&&) noexcept;
  Workspace& operator=(Workspace&&) noexcept;

  // Forgets all results and keeps the memory.
  void reset();
  // The work of all evaluations since then, in the steps that limits::kEvaluationStepsMax bounds.
  std::size_t steps() const;

  // Items that live until reset().
  Item make_string(std::string_view text);  // copied
  Item make_decimal(const base::Decimal& value);
  Item make_quantity(const base::Decimal& value, std::string_view unit, bool calendar = false);

  struct State;
  State& state() { return *state_; }

 private:
  std::unique_ptr<State> state_;
};

struct Context {
  Items focus = {};  // what the expression is evaluated on; also %context
  // %resource and %rootResource; kNothing: found from the focus (nearest resource; its container
  // when contained).
  Item resource = {};
  Item root_resource = {};
  // %context when it is not the focus itself.
  Items context = {};
  // One collection for each of Options::variables, in that order; missing ones are empty.
  std::span<const Items> variables = {};
  const Host* host = nullptr;
  // FHIR instant for now(), today() and timeOfDay(), "2026-03-02T08:10:00.000+01:00". Empty: these
  // are an error.
  std::string_view now = {};
};

enum class Truth : std::uint8_t { kFalse, kTrue, kEmpty };

class Program;

class Expression {
 public:
  explicit Expression(std::unique_ptr<const Program> program);
  ~Expression();
  Expression(Expression&&) noexcept;
  Expression& operator=(Expression&&) noexcept;

  // Errors (where = "line:column" in the expression): kInvalid for what the specification calls an
  // error, kLimit when a bound of base/limits.h is reached, kNotFound from the host. May be called
  // from within a Host or HostFunction with the same Workspace.
  base::Result<Items> evaluate(const Context& context, Workspace& workspace) const;
  // The result as a boolean by the singleton rule: one boolean is itself, one other item is true,
  // none is kEmpty, several are an error. Keeps nothing in the workspace that a caller could see.
  base::Result<Truth> evaluate_boolean(const Context& context, Workspace& workspace) const;

  const std::string& text() const;
  // The syntax tree, one node a line, indented; for people.
  std::string tree() const;

 private:
  std::unique_ptr<const Program> program_;
};

// Errors: kInvalid with where = "line:column" and what was expected; kLimit for an expression that
// is too long or too deep.
base::Result<Expression> compile(std::string_view text, const Options& options = {});

// The length in bytes of the expression at the start of a longer text, for languages that embed it:
// reading stops before the first token that cannot continue the expression ("->", ",", ")", ";", a
// word ...). Errors: kInvalid when no expression starts there, kLimit.
base::Result<std::size_t> parse_prefix(std::string_view text, json::Position origin = {1, 1});

// --- Results for the outside.

// "FHIR.Patient", "System.Integer"; "JSON" for a node of unknown type.
std::string type_text(const Item& item, const Types* types);
// The System value behind a node of a primitive type or a Quantity (the item itself when it is one
// already); kNothing when there is none.
Item system_value(const Item& item, const Types* types, Workspace& workspace);
// As toString() would print it; complex nodes as compact JSON.
std::string to_text(const Item& item);
// A JSON value for the item, made in `document`, whose NameTable must be that of the item's
// document. A node is copied; a quantity becomes {"value","unit","system","code"}.
json::Node* to_json(const Item& item, json::Document& document);

}  // namespace engine::fhirpath
