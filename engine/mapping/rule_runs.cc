// Notes of every rule that is reached, for people who write maps.

#include <algorithm>
#include <utility>

#include "engine/mapping/runner.h"

namespace engine::mapping {
namespace {

// A whole shift reaches some ten thousand rules; more is read by nobody.
constexpr std::size_t kRuleRunsMax = 100'000;

}  // namespace

RuleRun* Runner::add_rule_run(const CompiledRule& rule) {
  if (rule_runs.size() >= kRuleRunsMax) {
    ++rule_runs_left_out;
    return nullptr;
  }
  RuleRun& run = rule_runs.emplace_back();
  run.rule = rule.label;
  run.depth = static_cast<std::uint32_t>(frames_);
  run.first_read = static_cast<std::uint32_t>(rule_reads.size());
  run.first_made = static_cast<std::uint32_t>(lineage.size());
  return &run;
}

std::size_t Runner::begin_rule_run(const CompiledRule& rule) {
  if (!options_.with_rule_runs) {
    return kNoRun;
  }
  untranslated_noted_ = untranslated.size();
  RuleRun* run = add_rule_run(rule);
  if (run == nullptr) {
    return kNoRun;
  }
  run->fired = true;
  run->under_way = true;
  for (const CompiledSource& source : rule.sources) {
    const fhirpath::Item item = item_of(cell(source.slot));
    if (item.is_node()) {
      rule_reads.push_back({item.at.node != nullptr ? item.at.node : item.at.companion, {}});
    } else if (!item.is_nothing()) {
      rule_reads.push_back({nullptr, fhirpath::to_text(item)});
    }
  }
  run->read_count = static_cast<std::uint32_t>(rule_reads.size()) - run->first_read;
  return rule_runs.size() - 1;
}

// After the rule's own targets, before the groups and rules in it.
void Runner::note_made(std::size_t run) {
  if (run == kNoRun) {
    return;
  }
  RuleRun& at = rule_runs[run];
  at.made_count = static_cast<std::uint32_t>(lineage.size()) - at.first_made;
  for (; untranslated_noted_ < untranslated.size(); ++untranslated_noted_) {
    const Untranslated& code = untranslated[untranslated_noted_];
    at.broke.push_back("the code '" + code.code + "' has no translation in " + code.table);
  }
}

void Runner::end_rule_run(std::size_t run) {
  if (run != kNoRun) {
    rule_runs[run].under_way = false;
  }
}

void Runner::note_idle(const CompiledRule& rule, std::size_t first_run) {
  if (options_.with_rule_runs && rule_runs.size() == first_run) {
    add_rule_run(rule);
  }
}

// The innermost rule is the one that broke; those around it end with it.
void Runner::note_break(const CompiledRule& rule, std::size_t first_run) {
  if (!options_.with_rule_runs || break_noted_ || !error_) {
    return;
  }
  break_noted_ = true;
  const auto begin = rule_runs.begin() + static_cast<std::ptrdiff_t>(first_run);
  const auto under_way = std::find_if(begin, rule_runs.end(), [&](const RuleRun& run) {
    return run.under_way && run.rule == rule.label;
  });
  RuleRun* run = under_way != rule_runs.end() ? &*under_way : add_rule_run(rule);
  if (run == nullptr) {
    return;
  }
  if (run->made_count == 0 && run->fired) {
    run->made_count = static_cast<std::uint32_t>(lineage.size()) - run->first_made;
  }
  run->broke.push_back(error_->text());
}

}  // namespace engine::mapping
