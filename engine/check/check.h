#pragma once
// The checker: does a resource conform to FHIR R4 and to the profiles it claims or is asked to
// meet? Structure, primitives, bindings, invariants, slicing, references, extensions, Bundles,
// narrative. Not for definitions' own quality, and no terminology service: what a value set cannot
// decide with the code systems at hand is reported as not checked.
//
// A Checker is immutable and may be used from many threads, each with its own Scratch. It borrows
// the catalog, which must be frozen and outlive it. Shapes are prepared the first time a resource
// needs them.
//
//   check::Checker checker(catalog);                                   // once
//   check::Scratch scratch;                                            // one a thread, reused
//   fhir::Issues issues = checker.check(*document.root(), {.text = text}, scratch);
//
// Source: FHIR R4 validation.html, profiling.html, json.html; docs/checking.md lists each kind of
// message and the places where R4's own definitions are mended.

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "engine/fhir/issue.h"
#include "engine/json/document.h"
#include "engine/shapes/catalog.h"

namespace engine::check {

struct Options {
  // Canonicals of profiles to meet besides the resource's own type and its claims. One that is not
  // loaded is an error.
  std::span<const std::string_view> profiles;
  // Other resources that references may point at (and Questionnaires that responses may name).
  std::span<const json::Node* const> others;
  // The text the document was parsed from: issues then carry line and column.
  std::string_view text;
  // FHIR instant for rules relative to the present. Empty: such rules are reported as not checked.
  std::string_view now;
  // Whether notes of severity information (what was not checked, good practice) are reported.
  bool notes = true;
};

// Working memory of one thread, reused from call to call.
class Scratch {
 public:
  Scratch();
  ~Scratch();
  Scratch(Scratch&&) noexcept;
  Scratch& operator=(Scratch&&) noexcept;

  struct State;
  State& state() { return *state_; }

 private:
  std::unique_ptr<State> state_;
};

// How invariants are run. The answers are the same (tests hold one against the other).
enum class Evaluation : std::uint8_t {
  kNative,    // the frequent ones in C++, the others by FHIRPath
  kFhirPath,  // all by FHIRPath
};

// A definition that a resource must meet, and why.
struct InForce {
  const shapes::Shape* shape = nullptr;
  std::string_view why;  // "claimed in meta.profile"; of static text
};

class Checker {
 public:
  explicit Checker(const shapes::Catalog& catalog, Evaluation evaluation = Evaluation::kNative);
  ~Checker();
  Checker(const Checker&) = delete;
  Checker& operator=(const Checker&) = delete;

  // Everything that is wrong with a resource: the root of a document, a resource inside one or one
  // that was built; in document order, at most limits::kIssuesMax. A resource without fault costs
  // no allocation once its shapes are prepared and the scratch has grown, narratives and Bundles
  // excepted. The document must have been made with the catalog's names.
  fhir::Issues check(const json::Node& resource, const Options& options, Scratch& scratch) const;

  // The definitions that check() would hold a resource against, its type's own when there is no
  // other; a definition that another one is based on is left out. The resource may stand inside
  // another.
  std::vector<InForce> in_force(const json::Node& resource, const Options& options,
                                Scratch& scratch) const;

  // Whether a value is in the named slice of a profile (of each outer slice too, when the name is a
  // re-slice's): false where the profile slices nothing of that name at the value's place. `value`
  // or `companion` must be there; both belong to a resource. Errors: kNotFound for a profile that
  // is not loaded or has no slice of that name.
  base::Result<bool> in_slice(const json::Node* value, const json::Node* companion,
                              shapes::TypeId type, std::string_view profile, std::string_view slice,
                              Scratch& scratch) const;

  const shapes::Catalog& catalog() const;

  struct State;

 private:
  std::unique_ptr<State> state_;
};

}  // namespace engine::check
