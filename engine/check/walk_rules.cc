// Walk: invariants. Source: FHIR R4 conformance-rules.html, fhirpath.html.

#include "engine/check/compare.h"
#include "engine/check/host.h"
#include "engine/check/walk.h"

namespace engine::check {

void Walk::rules(const Subject& subject, std::span<const Rule> list) {
  for (const Rule& rule : list) {
    if (rule.native != nullptr) {
      if (!rule.native->holds(subject, rule.elements)) {
        broken(subject, checker_.catalog.constraint(rule.id));
      }
      continue;
    }
    evaluate(subject, rule.id);
    if (settled()) {
      return;
    }
  }
}

void Walk::evaluate(const Subject& subject, shapes::ConstraintId id) {
  const shapes::Constraint& constraint = checker_.catalog.constraint(id);
  const json::Node& at = subject.value != nullptr ? *subject.value : *subject.companion;
  const fhirpath::Expression* expression = checker_.rules.expression(id);
  if (expression == nullptr) {
    report().add(
        Severity::kWarning, "not-supported", at,
        [&] {
          return "the rule " + std::string(constraint.key) + " of " +
                 std::string(constraint.source) + " is not readable, so it is not checked: " +
                 std::string(checker_.rules.why_not(id));
        },
        constraint.key);
    return;
  }
  const base::Result<fhirpath::Truth> truth = evaluate(*expression, subject);
  if (!truth) {
    report().add(
        Severity::kWarning, "exception", at,
        [&] {
          return "the rule " + std::string(constraint.key) +
                 " could not be evaluated here: " + truth.error().text();
        },
        constraint.key);
  } else if (*truth != fhirpath::Truth::kTrue) {
    broken(subject, constraint);
  }
}

base::Result<fhirpath::Truth> Walk::evaluate(const fhirpath::Expression& expression,
                                             const Subject& subject) {
  const WalkHost host(*this);
  const fhirpath::Item focus =
      fhirpath::Item::of_node(subject.value, subject.type, subject.companion);
  fhirpath::Context context;
  context.focus = {&focus, 1};
  context.resource = fhirpath::Item::of_node(frame_->resource, frame_->type);
  const ResourceFrame& root = frame_->contained ? *frame_->outer : *frame_;
  context.root_resource = fhirpath::Item::of_node(root.resource, root.type);
  context.host = &host;
  context.now = options_.now;
  // A host's question may come back here, and then the outer evaluation still needs its items.
  if (evaluations_ == 0) {
    scratch_.workspace.reset();
  }
  ++evaluations_;
  base::Result<fhirpath::Truth> truth = expression.evaluate_boolean(context, scratch_.workspace);
  --evaluations_;
  return truth;
}

void Walk::broken(const Subject& subject, const shapes::Constraint& constraint) {
  const json::Node& at = subject.value != nullptr ? *subject.value : *subject.companion;
  const Severity severity = constraint.best_practice ? Severity::kInformation
                            : constraint.is_error    ? Severity::kError
                                                     : Severity::kWarning;
  report().add(
      severity, "invariant", at,
      [&] {
        std::string text = "the rule " + std::string(constraint.key);
        if (!constraint.source.empty()) {
          text += " of " + std::string(constraint.source);
        }
        return text + " is not met: " + std::string(constraint.expression);
      },
      constraint.key);
}

}  // namespace engine::check
