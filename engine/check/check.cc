#include "engine/check/check.h"

#include "engine/base/check.h"
#include "engine/check/state.h"
#include "engine/check/walk.h"

namespace engine::check {

Scratch::Scratch() : state_(std::make_unique<State>()) {}
Scratch::~Scratch() = default;
Scratch::Scratch(Scratch&&) noexcept = default;
Scratch& Scratch::operator=(Scratch&&) noexcept = default;

Checker::Checker(const shapes::Catalog& catalog, Evaluation evaluation)
    : state_(std::make_unique<State>(catalog, evaluation)) {
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

fhir::Issues Checker::check(const json::Node& resource, const Options& options,
                            Scratch& scratch) const {
  begin(resource, options, *state_, scratch.state());
  Walk walk(*state_, options, scratch.state());
  walk.run(resource);
  return scratch.state().report.take();
}

std::vector<InForce> Checker::in_force(const json::Node& resource, const Options& options,
                                       Scratch& scratch) const {
  begin(resource, options, *state_, scratch.state());
  Walk walk(*state_, options, scratch.state());
  return walk.in_force(resource);
}

base::Result<bool> Checker::in_slice(const json::Node* value, const json::Node* companion,
                                     shapes::TypeId type, std::string_view profile,
                                     std::string_view slice, Scratch& scratch) const {
  const json::Node* root = value != nullptr ? value : companion;
  const Options options;
  begin(*root, options, *state_, scratch.state());
  Walk walk(*state_, options, scratch.state());
  return walk.in_named_slice(value, companion, type, profile, slice);
}

}  // namespace engine::check
