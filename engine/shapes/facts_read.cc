#include <unordered_map>
#include <utility>

#include "engine/shapes/element_at.h"
#include "engine/shapes/facts.h"
#include "engine/shapes/words.h"

namespace engine::shapes {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

std::string_view take_word(std::string_view& rest) {
  const std::size_t end = rest.find(' ');
  const std::string_view word = rest.substr(0, end);
  rest = end == std::string_view::npos ? std::string_view() : rest.substr(end + 1);
  return word;
}

std::pair<std::string_view, std::string_view> split_canonical(std::string_view canonical) {
  const std::size_t bar = canonical.find('|');
  if (bar == std::string_view::npos) {
    return {canonical, {}};
  }
  return {canonical.substr(0, bar), canonical.substr(bar + 1)};
}

std::string_view dash_is_empty(std::string_view word) {
  return word == "-" ? std::string_view() : word;
}

// Every handler returns false when its line does not read as it should.
class FactReader {
 public:
  FactReader(std::string_view file, base::Arena& texts) : file_(file), texts_(texts) {}

  Result<FactSet> read(std::string_view text) {
    // Looked for once in the whole: a search of two characters in every line costs more than
    // reading the line does.
    other_space_ =
        text.find('\t') != std::string_view::npos || text.find('\r') != std::string_view::npos;
    while (!text.empty()) {
      const std::size_t end = text.find('\n');
      const std::string_view line = text.substr(0, end);
      text = end == std::string_view::npos ? std::string_view() : text.substr(end + 1);
      ++line_;
      if (line.empty() || line.front() == '#') {
        continue;
      }
      if (!read_line(line)) {
        return Error(ErrorCode::kInvalid, "this line is not a fact of the kind expected here",
                     std::string(file_) + ":" + std::to_string(line_));
      }
      if (wrong_format_) {
        return Error(
            ErrorCode::kUnsupported,
            "only fact files that begin with 'facts 1' are read; compile the package again",
            std::string(file_) + ":1");
      }
    }
    if (line_ == 0) {
      return Error(ErrorCode::kInvalid, "the fact file is empty", std::string(file_));
    }
    if (!last_shape_is_whole()) {
      return Error(ErrorCode::kInvalid, "the last shape has no 'is' line",
                   std::string(file_) + ":" + std::to_string(line_));
    }
    return std::move(set_);
  }

 private:
  enum class Block : std::uint8_t { kNone, kShape, kCodeSystem, kValueSet };

  bool read_line(std::string_view line) {
    if (line_ == 1) {
      wrong_format_ = line != "facts 1";
      return true;
    }
    // Texts are printed with spaces in their place; two that differ only there would become one.
    if (other_space_ && line.find_first_of("\t\r") != std::string_view::npos) {
      return false;
    }
    if (line.front() != ' ') {
      return read_head(line);
    }
    const bool deep = line.starts_with("    ");
    if (!deep && !line.starts_with("  ")) {
      return false;
    }
    std::string_view rest = line.substr(deep ? 4 : 2);
    switch (block_) {
      case Block::kShape:
        return deep ? read_element_detail(rest) : read_shape_line(rest);
      case Block::kCodeSystem:
        return !deep && read_code(rest);
      case Block::kValueSet:
        return deep ? read_value_set_code(rest) : read_part(rest);
      case Block::kNone:
        break;
    }
    return false;
  }

  bool read_head(std::string_view line) {
    const std::string_view word = take_word(line);
    if (word == "invariant") {
      return read_invariant(line);
    }
    if (word == "package") {
      set_.package = line;
      return !line.empty();
    }
    if (word == "depends") {
      set_.dependencies.push_back(line);
      return !line.empty();
    }
    if (word == "except-binding") {
      return read_exception(line);
    }
    const auto [url, version] = split_canonical(take_word(line));
    if (url.empty()) {
      return false;
    }
    if (word == "shape") {
      if (!last_shape_is_whole()) {
        return false;
      }
      block_ = Block::kShape;
      ShapeFacts& shape = set_.shapes.emplace_back();
      shape.url = url;
      shape.version = version;
      return true;
    }
    if (word == "codesystem") {
      block_ = Block::kCodeSystem;
      CodeSystemFacts& system = set_.code_systems.emplace_back();
      system.url = url;
      system.version = version;
      system.complete = take_word(line) == "complete";
      system.case_sensitive = line != "any-case";
      return true;
    }
    if (word == "valueset") {
      block_ = Block::kValueSet;
      ValueSetFacts& set = set_.value_sets.emplace_back();
      set.url = url;
      set.version = version;
      return true;
    }
    return false;
  }

  bool last_shape_is_whole() const {
    return set_.shapes.empty() || !set_.shapes.back().type.empty();
  }

  bool read_exception(std::string_view rest) {
    BindingException exception;
    exception.element = take_word(rest);
    exception.value_set = take_word(rest);
    const auto strength = meaning_of(kStrengthWords, take_word(rest));
    exception.strength = strength.value_or(Strength::kExample);
    exception.reason = rest;
    set_.exceptions.push_back(exception);
    return strength && !exception.value_set.empty() && !rest.empty();
  }

  bool read_invariant(std::string_view rest) {
    const std::string_view name = take_word(rest);
    const std::string_view grade = take_word(rest);
    ConstraintFact constraint;
    constraint.key = name.substr(0, name.find('#'));
    constraint.is_error = grade.starts_with("error");
    constraint.best_practice = grade.ends_with("+bestpractice");
    constraint.source = canonical(dash_is_empty(take_word(rest)));
    constraint.expression = rest;
    invariants_[name] = constraint;
    return !constraint.key.empty() && (constraint.is_error || grade.starts_with("warning"));
  }

  bool read_shape_line(std::string_view rest) {
    ShapeFacts& shape = set_.shapes.back();
    const std::string_view word = take_word(rest);
    if (word == "e") {
      return read_element(rest);
    }
    if (word == "is") {
      return read_is(rest);
    }
    if (word == "name") {
      shape.name = rest;
      return true;
    }
    if (word == "base") {
      shape.base = rest;
      return true;
    }
    if (word == "context") {
      const auto kind = meaning_of(kContextWords, take_word(rest));
      if (!kind) {
        return false;
      }
      shape.contexts.push_back({*kind, rest});
      return true;
    }
    if (word == "context-invariant") {
      shape.context_invariants.push_back(rest);
      return true;
    }
    return false;
  }

  bool read_is(std::string_view rest) {
    ShapeFacts& shape = set_.shapes.back();
    const auto kind = meaning_of(kKindWords, take_word(rest));
    shape.type = take_word(rest);
    if (!kind || shape.type.empty()) {
      return false;
    }
    shape.kind = *kind;
    while (!rest.empty()) {
      const std::string_view word = take_word(rest);
      shape.is_profile |= word == "profile";
      shape.is_abstract |= word == "abstract";
      shape.is_retired |= word == "retired";
    }
    return true;
  }

  bool read_element(std::string_view rest) {
    ElementFacts& element = set_.shapes.back().elements.emplace_back();
    element.id = take_word(rest);
    element.path = path_of_id(element.id, texts_);
    element.slice_name = slice_name_of_id(element.id);
    if (element.id.empty() || !read_bounds(take_word(rest), element)) {
      return false;
    }
    for (const char flag : take_word(rest)) {
      element.must_support |= flag == 'S';
      element.is_modifier |= flag == 'M';
      element.is_summary |= flag == 'Z';
    }
    if (rest == "*") {
      element.any_type = true;
      return true;
    }
    while (!rest.empty()) {
      if (!read_type(take_word(rest), element.types.emplace_back())) {
        return false;
      }
    }
    return true;
  }

  static bool read_bounds(std::string_view text, ElementFacts& element) {
    const std::size_t dots = text.find("..");
    if (dots == std::string_view::npos) {
      return false;
    }
    const std::size_t paren = text.find('(', dots);
    const auto min = bound_of(text.substr(0, dots));
    const auto max = bound_of(text.substr(dots + 2, paren - dots - 2));
    auto base_max = max;
    if (paren != std::string_view::npos) {
      base_max = bound_of(text.substr(paren + 1, text.size() - paren - 2));
    }
    if (!min || *min == kUnbounded || !max || !base_max) {
      return false;
    }
    element.min = *min;
    element.max = *max;
    element.base_max = *base_max;
    element.has_min = element.has_max = true;
    return true;
  }

  bool read_type(std::string_view word, TypeFact& type) {
    const std::size_t brace = word.find('{');
    if (brace != std::string_view::npos) {
      std::string_view traits = word.substr(brace + 1, word.size() - brace - 2);
      while (!traits.empty()) {
        const std::size_t comma = traits.find(',');
        const std::string_view trait = traits.substr(0, comma);
        traits = comma == std::string_view::npos ? std::string_view() : traits.substr(comma + 1);
        if (const auto bit = meaning_of(kAggregationWords, trait)) {
          type.aggregation =
              static_cast<std::uint8_t>(type.aggregation | static_cast<std::uint8_t>(*bit));
        } else if (const auto versioning = meaning_of(kVersioningWords, trait)) {
          type.versioning = *versioning;
        } else {
          return false;
        }
      }
      word = word.substr(0, brace);
    }
    std::size_t at = word.find_first_of("<>");
    type.code = word.substr(0, at);
    while (at != std::string_view::npos) {
      const std::size_t next = word.find_first_of("<>", at + 1);
      const std::string_view item = word.substr(at + 1, next - at - 1);
      (word[at] == '<' ? type.profiles : type.targets).push_back(canonical(item));
      at = next;
    }
    return !type.code.empty();
  }

  bool read_element_detail(std::string_view rest) {
    if (set_.shapes.back().elements.empty()) {
      return false;
    }
    ElementFacts& element = set_.shapes.back().elements.back();
    const std::string_view word = take_word(rest);
    if (word == "inv") {
      return read_invariant_names(rest, element);
    }
    if (word == "binding") {
      return read_binding(rest, element.binding);
    }
    if (word == "slicing") {
      return read_slicing(rest, element.slicing);
    }
    if (word == "content") {
      element.content_reference = rest;
      return !rest.empty();
    }
    if (word == "max-length") {
      const auto length = bound_of(rest);
      element.length_max = length.value_or(0);
      return length && *length != kUnbounded;
    }
    ValueFact* value = word == "fixed"       ? &element.fixed
                       : word == "pattern"   ? &element.pattern
                       : word == "min-value" ? &element.min_value
                       : word == "max-value" ? &element.max_value
                                             : nullptr;
    if (value == nullptr) {
      return false;
    }
    value->type = take_word(rest);
    value->json = rest;
    return !rest.empty();
  }

  bool read_invariant_names(std::string_view rest, ElementFacts& element) const {
    while (!rest.empty()) {
      const auto known = invariants_.find(take_word(rest));
      if (known == invariants_.end()) {
        return false;
      }
      element.constraints.push_back(known->second);
    }
    return true;
  }

  static bool read_binding(std::string_view rest, BindingFact& binding) {
    const auto strength = meaning_of(kStrengthWords, take_word(rest));
    if (!strength) {
      return false;
    }
    binding.present = true;
    binding.strength = *strength;
    binding.value_set = dash_is_empty(take_word(rest));
    if (take_word(rest) == "max") {
      binding.max_value_set = rest;
    }
    return true;
  }

  static bool read_slicing(std::string_view rest, SlicingFact& slicing) {
    const auto rules = meaning_of(kRulesWords, take_word(rest));
    if (!rules) {
      return false;
    }
    slicing.present = slicing.has_rules = true;
    slicing.rules = *rules;
    while (!rest.empty()) {
      const std::string_view word = take_word(rest);
      if (word == "ordered") {
        slicing.ordered = true;
        continue;
      }
      const std::size_t colon = word.find(':');
      const auto kind = meaning_of(kDiscriminatorWords, word.substr(0, colon));
      if (!kind || colon == std::string_view::npos) {
        return false;
      }
      slicing.discriminators.push_back({*kind, word.substr(colon + 1)});
    }
    return true;
  }

  bool read_code(std::string_view rest) {
    std::string_view word = take_word(rest);
    if (word == "below") {
      const std::string_view parent = take_word(rest);
      set_.code_systems.back().also_below.emplace_back(rest, parent);
      return !rest.empty() && rest.find(' ') == std::string_view::npos;
    }
    if (word.empty() || word.front() != 'c') {
      return false;
    }
    word.remove_prefix(1);
    const auto depth = word.empty() ? std::optional<std::uint32_t>(0) : bound_of(word);
    if (!depth || *depth == kUnbounded || rest.empty()) {
      return false;
    }
    set_.code_systems.back().codes.push_back({rest, *depth});
    return true;
  }

  bool read_part(std::string_view rest) {
    const auto kind = meaning_of(kPartWords, take_word(rest));
    if (!kind) {
      return false;
    }
    ValueSetFacts::Part& part = set_.value_sets.back().parts.emplace_back();
    part.kind = *kind;
    part.system = dash_is_empty(take_word(rest));
    part.reason = rest;
    return true;
  }

  bool read_value_set_code(std::string_view code) {
    if (set_.value_sets.back().parts.empty() || code.empty()) {
      return false;
    }
    set_.value_sets.back().parts.back().codes.push_back(code);
    return true;
  }

  // Written out; each once.
  std::string_view canonical(std::string_view word) {
    if (word.empty() || word.find(':') != std::string_view::npos || word.front() == '#') {
      return word;
    }
    auto [at, is_new] = canonicals_.try_emplace(word);
    if (is_new) {
      std::string full(kStructurePrefix);
      full += word;
      at->second = copy_text(texts_, full);
    }
    return at->second;
  }

  std::string_view file_;
  base::Arena& texts_;
  std::size_t line_ = 0;
  bool wrong_format_ = false;
  bool other_space_ = false;  // a tab or carriage return somewhere in the text
  Block block_ = Block::kNone;
  FactSet set_;
  std::unordered_map<std::string_view, ConstraintFact> invariants_;
  std::unordered_map<std::string_view, std::string_view> canonicals_;
};

}  // namespace

std::string_view path_of_id(std::string_view id, base::Arena& texts) {
  if (id.find(':') == std::string_view::npos) {
    return id;
  }
  return copy_text(texts, without_slice_names(id));
}

std::string_view slice_name_of_id(std::string_view id) {
  const std::size_t dot = id.rfind('.');
  const std::size_t colon = id.find(':', dot == std::string_view::npos ? 0 : dot);
  return colon == std::string_view::npos ? std::string_view() : id.substr(colon + 1);
}

base::Result<FactSet> read_facts(std::string_view file, std::string_view text, base::Arena& texts) {
  return FactReader(file, texts).read(text);
}

}  // namespace engine::shapes
