#include "engine/check/check.h"

#include "engine/base/check.h"
#include "engine/check/state.h"
#include "engine/check/walk.h"

namespace engine::check {

Scratch::Scratch() : state_(std::make_unique<State>()) {}
Scratch::~Scratch() = default;
Scratch::Scratch(Scratch&&) noexcept = default;
Scratch& Scratch::operator=(Scratch&&) noexcept = default;

Checker::Checker(const shapes::Catalog& catalog) : state_(std::make_unique<State>(catalog)) {
  ENGINE_CHECK(catalog.names().frozen());
}
Checker::~Checker() = default;

const shapes::Catalog& Checker::catalog() const {
  return state_->catalog;
}

namespace {

void begin(const json::Node& root, const Options& options, const Checker::State& checker,
           Scratch::State& scratch) {
  scratch.report.begin(root, options.text, options.notes, checker.types);
  scratch.bundles.clear();
  scratch.asking.clear();
}

}  // namespace

fhir::Issues Checker::check(const json::Document& document, const Options& options,
                            Scratch& scratch) const {
  ENGINE_CHECK(document.root() != nullptr);
  const json::Node& root = *document.root();
  begin(root, options, *state_, scratch.state());
  for (const json::Node* again : document.duplicates()) {
    scratch.state().report.add(
        fhir::Severity::kError, "structure", *again->parent,
        [&] {
          return "the property '" + std::string(again->name->text) +
                 "' is there twice; which one holds is anybody's guess, so remove one";
        },
        {}, again);
  }
  Walk walk(*state_, options, scratch.state());
  walk.run(root);
  return scratch.state().report.take();
}

fhir::Issues Checker::check(const json::Node& resource, const Options& options,
                            Scratch& scratch) const {
  begin(resource, options, *state_, scratch.state());
  Walk walk(*state_, options, scratch.state());
  walk.run(resource);
  return scratch.state().report.take();
}

}  // namespace engine::check
