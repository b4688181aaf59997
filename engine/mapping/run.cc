// Run's public face.

#include <cstdint>
#include <utility>

#include "engine/mapping/mapping.h"
#include "engine/mapping/runner.h"

namespace engine::mapping {

struct Run::State {
  State(const Program& program, json::Document& output, RunOptions options)
      : runner(program, output, std::move(options)) {}
  Runner runner;
};

Run::Run(const MapSet& maps, json::Document& output, RunOptions options)
    : state_(std::make_unique<State>(maps.program(), output, std::move(options))) {}
Run::~Run() = default;

base::Result<void> Run::call(std::uint32_t group, std::span<const Binding> bindings) {
  return state_->runner.call(group, bindings);
}

void Run::finish() {
  state_->runner.finish();
}

std::span<const LineageEntry> Run::lineage() const {
  return state_->runner.lineage;
}

std::span<const json::Node* const> Run::inputs() const {
  return state_->runner.lineage_inputs;
}

std::span<const Untranslated> Run::untranslated() const {
  return state_->runner.untranslated;
}
std::span<const TraceLine> Run::trace() const {
  return state_->runner.trace;
}

std::span<const RuleRun> Run::rule_runs() const {
  return state_->runner.rule_runs;
}
std::span<const RuleRead> Run::rule_reads() const {
  return state_->runner.rule_reads;
}
std::size_t Run::rule_runs_left_out() const {
  return state_->runner.rule_runs_left_out;
}

void Run::watch_coverage() {
  state_->runner.with_coverage = true;
  state_->runner.fired.resize(state_->runner.rule_count());
}

const std::vector<bool>& Run::fired_rules() const {
  return state_->runner.fired;
}

}  // namespace engine::mapping
