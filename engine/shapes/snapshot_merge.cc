#include "engine/shapes/snapshot_merge.h"

#include <algorithm>
#include <utility>

#include "engine/base/decimal.h"
#include "engine/shapes/words.h"

namespace engine::shapes {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

Error contradiction(std::string what, const MergeContext& context) {
  return {ErrorCode::kInvalid, std::move(what), context.where};
}

void warn(std::string what, MergeContext& context) {
  fhir::Issue issue;
  issue.severity = fhir::Severity::kWarning;
  issue.code = "business-rule";
  issue.expression = context.where;
  issue.text = std::move(what) + " (" + context.where + ")";
  context.warnings.push_back(std::move(issue));
}

std::string bounds(const ElementFacts& element) {
  return std::to_string(element.min) + ".." + bound_text(element.max);
}

Result<void> merge_bounds(ElementFacts& element, const ElementFacts& over,
                          const MergeContext& context) {
  ElementFacts narrowed = element;
  narrowed.min = over.has_min ? over.min : element.min;
  narrowed.max = over.has_max ? over.max : element.max;
  // A removed element needs no minimum of its own said.
  if (!over.has_min && narrowed.max < narrowed.min) {
    return contradiction(
        "max " + bound_text(over.max) + " is below the base's min " + std::to_string(element.min),
        context);
  }
  if (narrowed.min < element.min || narrowed.max > element.max || narrowed.min > narrowed.max) {
    return contradiction(
        "cardinality " + bounds(narrowed) + " does not fit into the base's " + bounds(element),
        context);
  }
  element.min = narrowed.min;
  element.max = narrowed.max;
  return {};
}

std::string codes_of(const std::vector<TypeFact>& types) {
  std::string text;
  for (const TypeFact& type : types) {
    text += text.empty() ? "" : ", ";
    text += type.code;
  }
  return text.empty() ? "none" : text;
}

Result<void> merge_types(ElementFacts& element, const ElementFacts& over,
                         const MergeContext& context) {
  if (over.types.empty()) {
    return {};
  }
  for (const TypeFact& type : over.types) {
    const bool allowed =
        element.types.empty() ||
        std::any_of(element.types.begin(), element.types.end(), [&](const TypeFact& base) {
          return base.code == type.code || base.code.starts_with("System.") ||
                 context.derives(context.lookup, type.code, base.code);
        });
    if (!allowed) {
      return contradiction(
          "type " + std::string(type.code) + " is not among the base's: " + codes_of(element.types),
          context);
    }
  }
  element.types = over.types;
  return {};
}

void merge_binding(ElementFacts& element, const ElementFacts& over, MergeContext& context) {
  if (!over.binding.present) {
    return;
  }
  const BindingFact base = element.binding;
  if (base.present && over.binding.strength > base.strength) {
    warn("the binding is " + std::string(word_of(kStrengthWords, over.binding.strength)) +
             ", looser than the base's " + std::string(word_of(kStrengthWords, base.strength)),
         context);
  }
  element.binding = over.binding;
  if (over.binding.value_set.empty()) {
    element.binding.value_set = base.value_set;
  }
}

// A value's type must be a type of the element; url-like strings stand for System.String.
Result<void> check_value_type(const ElementFacts& element, const ValueFact& value,
                              std::string_view what, const MergeContext& context) {
  if (!value.present() || element.types.empty()) {
    return {};
  }
  for (const TypeFact& type : element.types) {
    if (type.code == value.type || type.code.starts_with("System.")) {
      return {};
    }
  }
  return contradiction("a " + std::string(what) + " of type " + std::string(value.type) +
                           " where the element's types are: " + codes_of(element.types),
                       context);
}

Result<void> merge_values(ElementFacts& element, const ElementFacts& over,
                          const MergeContext& context) {
  for (const auto& [value, what] :
       {std::pair(&over.fixed, "fixed value"), std::pair(&over.pattern, "pattern")}) {
    if (Result<void> fits = check_value_type(element, *value, what, context); !fits) {
      return fits;
    }
  }
  if (element.fixed.present() && over.fixed.present() && element.fixed != over.fixed) {
    return contradiction("the fixed value " + std::string(over.fixed.json) +
                             " differs from the base's " + std::string(element.fixed.json),
                         context);
  }
  if (over.fixed.present()) {
    element.fixed = over.fixed;
    element.pattern = {};
  }
  if (over.pattern.present() && !element.fixed.present()) {
    element.pattern = over.pattern;
  }
  return {};
}

// Numbers only: for dates and quantities the later definition is taken as it is.
bool is_looser(const ValueFact& base, const ValueFact& over, bool is_minimum) {
  const auto a = base::Decimal::parse(base.json);
  const auto b = base::Decimal::parse(over.json);
  return a && b && (is_minimum ? *b < *a : *a < *b);
}

Result<void> merge_limits(ElementFacts& element, const ElementFacts& over,
                          const MergeContext& context) {
  if (over.min_value.present()) {
    if (is_looser(element.min_value, over.min_value, true)) {
      return contradiction("the least value " + std::string(over.min_value.json) +
                               " is below the base's " + std::string(element.min_value.json),
                           context);
    }
    element.min_value = over.min_value;
  }
  if (over.max_value.present()) {
    if (is_looser(element.max_value, over.max_value, false)) {
      return contradiction("the greatest value " + std::string(over.max_value.json) +
                               " is above the base's " + std::string(element.max_value.json),
                           context);
    }
    element.max_value = over.max_value;
  }
  if (over.length_max != 0) {
    if (element.length_max != 0 && over.length_max > element.length_max) {
      return contradiction("maxLength " + std::to_string(over.length_max) +
                               " is above the base's " + std::to_string(element.length_max),
                           context);
    }
    element.length_max = over.length_max;
  }
  return {};
}

void merge_constraints(ElementFacts& element, const ElementFacts& over, MergeContext& context) {
  for (const ConstraintFact& constraint : over.constraints) {
    const auto known =
        std::find_if(element.constraints.begin(), element.constraints.end(),
                     [&](const ConstraintFact& other) { return other.key == constraint.key; });
    if (known == element.constraints.end()) {
      element.constraints.push_back(constraint);
    } else if (known->expression != constraint.expression) {
      warn("the invariant " + std::string(constraint.key) +
               " is defined by the base already; the base's stays in force",
           context);
    }
  }
}

Result<void> merge_slicing(ElementFacts& element, const ElementFacts& over,
                           const MergeContext& context) {
  if (!over.slicing.present) {
    return {};
  }
  if (!element.slicing.present) {
    element.slicing = over.slicing;
    return {};
  }
  if (over.slicing.has_rules && element.slicing.rules == SlicingRules::kClosed &&
      over.slicing.rules != SlicingRules::kClosed) {
    return contradiction("slicing that the base closes cannot be opened again", context);
  }
  if (over.slicing.has_rules) {
    element.slicing.rules = over.slicing.rules;
  }
  element.slicing.ordered |= over.slicing.ordered;
  for (const DiscriminatorFact& discriminator : over.slicing.discriminators) {
    auto& known = element.slicing.discriminators;
    if (std::find(known.begin(), known.end(), discriminator) == known.end()) {
      known.push_back(discriminator);
    }
  }
  return {};
}

}  // namespace

Result<void> merge_element(ElementFacts& element, const ElementFacts& over, MergeContext& context) {
  for (auto* step : {merge_bounds, merge_types, merge_values, merge_limits, merge_slicing}) {
    if (Result<void> merged = step(element, over, context); !merged) {
      return merged;
    }
  }
  if (element.must_support && over.has_must_support && !over.must_support) {
    warn("mustSupport is true in the base and should not be taken back", context);
    element.must_support = false;
  }
  if (element.is_modifier && over.has_is_modifier && !over.is_modifier) {
    warn("isModifier is true in the base and cannot be taken back; it stays true", context);
  }
  element.must_support |= over.must_support;
  element.is_modifier |= over.is_modifier;
  element.is_summary |= over.is_summary;
  merge_binding(element, over, context);
  const bool only_extension = element.types.size() == 1 && element.types[0].code == "Extension";
  if (only_extension && element.binding.present) {
    warn("an extension has no code that a binding could mean; the binding is dropped", context);
    element.binding = {};
  }
  merge_constraints(element, over, context);
  return {};
}

}  // namespace engine::shapes
