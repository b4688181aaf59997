#include "engine/check/rules.h"

namespace engine::check {

using shapes::ConstraintId;
using shapes::TypeId;

namespace {

const NativeRule* native_rule(const shapes::Constraint& constraint) {
  for (const NativeRule& rule : native_rules()) {
    if (rule.key == constraint.key && rule.expression == constraint.expression) {
      return &rule;
    }
  }
  return nullptr;
}

// False when the type lacks an element that the rule reads.
bool find_elements(const shapes::TypeModel& types, const NativeRule& rule, TypeId type,
                   RuleElements& out) {
  out.fill(kNoElement);
  for (std::size_t i = 0; i < rule.stems.size() && !rule.stems[i].empty(); ++i) {
    if (type == shapes::kNoType) {
      return false;
    }
    const std::span<const shapes::Element> elements = types.info(type).elements;
    for (std::size_t e = 0; e < elements.size(); ++e) {
      if (elements[e].stem->text == rule.stems[i]) {
        out[i] = static_cast<std::uint16_t>(e);
      }
    }
    if (out[i] == kNoElement) {
      return false;
    }
  }
  return true;
}

}  // namespace

Rules::Rules(const shapes::Catalog& catalog, bool native)
    : catalog_(catalog),
      native_(native),
      types_(catalog.types(), catalog.names()),
      by_id_(catalog.constraint_count()) {}

std::vector<Rule> Rules::prepare(std::span<const ConstraintId> ids, TypeId type) const {
  std::vector<Rule> out;
  for (const ConstraintId id : ids) {
    const shapes::Constraint& constraint = catalog_.constraint(id);
    if (constraint.expression.empty()) {
      continue;  // only for people to read
    }
    Rule rule;
    rule.id = id;
    const NativeRule* native = native_rule(constraint);
    if (native != nullptr && native->holds == nullptr) {
      continue;
    }
    if (native_ && native != nullptr &&
        find_elements(catalog_.types(), *native, type, rule.elements)) {
      rule.native = native;
    }
    out.push_back(rule);
  }
  return out;
}

std::unique_ptr<Rules::Compiled> Rules::compile(std::string_view text) const {
  fhirpath::Options options;
  options.types = &types_;
  options.as_filters = true;  // R4's invariants use as() on collections
  auto made = std::make_unique<Compiled>();
  base::Result<fhirpath::Expression> result = fhirpath::compile(text, options);
  if (result) {
    made->expression.emplace(std::move(*result));
  } else {
    made->error = result.error().text();
  }
  return made;
}

const Rules::Compiled& Rules::compiled(ConstraintId id) const {
  const Compiled* known = by_id_[id].load(std::memory_order_acquire);
  if (known != nullptr) {
    return *known;
  }
  const std::lock_guard lock(mutex_);
  known = by_id_[id].load(std::memory_order_acquire);
  if (known == nullptr) {
    const shapes::Constraint& constraint = catalog_.constraint(id);
    std::string_view text = constraint.expression;
    for (const Mend& mend : mends()) {
      if (mend.key == constraint.key && mend.published == constraint.expression) {
        text = mend.mended;
      }
    }
    owned_.push_back(compile(text));
    known = owned_.back().get();
    by_id_[id].store(known, std::memory_order_release);
  }
  return *known;
}

const fhirpath::Expression* Rules::expression(ConstraintId id) const {
  const Compiled& found = compiled(id);
  return found.expression ? &*found.expression : nullptr;
}

std::string_view Rules::why_not(ConstraintId id) const {
  return compiled(id).error;
}

const fhirpath::Expression* Rules::expression(std::string_view text) const {
  const std::lock_guard lock(mutex_);
  for (const auto& [known, made] : by_text_) {
    if (known == text) {
      return made->expression ? &*made->expression : nullptr;
    }
  }
  owned_.push_back(compile(text));
  by_text_.emplace_back(text, owned_.back().get());
  const Compiled& made = *owned_.back();
  return made.expression ? &*made.expression : nullptr;
}

}  // namespace engine::check
