#include "engine/therapy/conditions.h"

#include <utility>

#include "engine/shapes/catalog.h"

namespace engine::therapy {

base::Result<Conditions> Conditions::compile(std::span<const Condition> conditions,
                                             const SessionModel& model) {
  Conditions out;
  if (conditions.empty()) {
    return out;
  }
  const shapes::Catalog& catalog = model.catalog();
  out.types_ = std::make_unique<const fhirpath::Types>(catalog.types(), catalog.names());
  fhirpath::Options options;
  options.types = out.types_.get();
  options.context_type = model.session();
  options.strict = true;
  for (const Condition& condition : conditions) {
    auto expression = fhirpath::compile(condition.text, options);
    if (!expression) {
      return base::Error(expression.error().code,
                         "the condition of " + condition.whose + " cannot be used: " +
                             condition.text + ": " + expression.error().detail,
                         expression.error().where);
    }
    out.expressions_.push_back(std::move(*expression));
  }
  return out;
}

std::vector<Meets> Conditions::ask(const json::Node& document) const {
  thread_local fhirpath::Workspace workspace;
  std::vector<Meets> out;
  out.reserve(expressions_.size());
  for (const fhirpath::Expression& expression : expressions_) {
    workspace.reset();
    const fhirpath::Item focus = types_->resource(document);
    const auto truth = expression.evaluate_boolean({.focus = {&focus, 1}}, workspace);
    out.push_back(!truth                             ? Meets::kUndecided
                  : *truth == fhirpath::Truth::kTrue ? Meets::kYes
                                                     : Meets::kNo);
  }
  return out;
}

}  // namespace engine::therapy
