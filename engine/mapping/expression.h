#pragma once
// FHIRPath inside maps. Maps may name a variable without the percent sign and a choice element by
// its JSON name, which FHIRPath itself does not know; all three are rewritten before the expression
// is compiled, and error positions are translated back to the map's text. Source: FHIR mapping
// language, FHIRPath in maps; the published test maps, which take these liberties.

#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "engine/base/result.h"
#include "engine/mapping/program.h"
#include "engine/mapping/scope.h"

namespace engine::mapping {

// Names of the whole type model that the rewriting asks for. Made once for a set of maps.
class ElementVocabulary {
 public:
  explicit ElementVocabulary(const shapes::TypeModel& model);

  // "value.ofType(string)" for "valueString"; nullptr when the name is no such member or is also an
  // element.
  const std::string* typed_choice(std::string_view name) const;
  // Whether any type has an element of this name.
  bool is_element(std::string_view name) const { return stems_.count(name) != 0; }
  // Whether every element of this name, of whatever type, is a single value.
  bool is_single_value(std::string_view name) const {
    const auto at = stems_.find(name);
    return at != stems_.end() && at->second;
  }

 private:
  std::unordered_map<std::string_view, bool> stems_;  // true: always a single value
  std::unordered_map<std::string_view, std::string> choices_;
};

struct Rewritten {
  std::string text;
  std::vector<std::string> variables;  // of the scope, each once
  std::vector<std::string> names;      // of elements
  // Where pieces of `text` come from: from `at` on, an offset in the original is offset - at +
  // original.
  struct Edit {
    std::size_t at;
    std::size_t original;
  };
  std::vector<Edit> edits;

  std::size_t original_offset(std::size_t offset) const;
};

// `focus` is the type of what the expression is evaluated on (kNoType: unknown); `has_focus` is
// false for (expr).
Rewritten rewrite_expression(std::string_view text, const Scope& scope,
                             const std::vector<std::string>& constants,
                             const ElementVocabulary& vocabulary, const Program& program,
                             shapes::TypeId focus, bool has_focus);

struct ExpressionContext {
  const Scope* scope = nullptr;
  const ParsedMap* map = nullptr;
  shapes::TypeId focus = shapes::kNoType;
  bool has_focus = false;
};

// Errors: kInvalid with where = "file:line:column".
base::Result<CompiledExpression> compile_expression(const Expression& expression,
                                                    const ExpressionContext& context,
                                                    const ElementVocabulary& vocabulary,
                                                    Program& program);

// The host functions in the form that FHIRPath calls; the context comes from the workspace of the
// run.
std::vector<fhirpath::HostFunction> adapt_functions(const LoadOptions& options);

// A workspace that also carries what the host's functions are given.
class RunWorkspace : public fhirpath::Workspace {
 public:
  const void* host_context = nullptr;
};

}  // namespace engine::mapping
