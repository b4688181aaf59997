#include "engine/cli/target_sets.h"

#include <algorithm>
#include <utility>

#include "engine/intake/session_core.h"
#include "engine/json/write.h"

namespace engine::cli {

using base::Error;
using base::ErrorCode;
using base::Result;

std::string text_of(const MappingSets& sets, const MappingSets::Event& event) {
  return (sets.target().empty() ? "" : "target=" + sets.target() + " ") + event.text;
}

namespace {

web::MappingChange changed(const MappingSets& sets, const MappingSets::Event& event) {
  return {event.what, text_of(sets, event), sets.target(),
          intake::made_with(sets.provenance(), {})};
}

Error no_sets_of_its_own() {
  return Error(ErrorCode::kNotFound, "no target of this name has mapping sets of its own",
               "target");
}

}  // namespace

Result<std::unique_ptr<TargetSets>> TargetSets::open(const ServeConfig& config,
                                                     const std::string& folder) {
  auto out = std::make_unique<TargetSets>();
  const auto common = with_site(config.translator);
  if (!common) {
    return common.error();
  }
  auto of_engine = MappingSets::open(
      {*common, folder, config.approval_needed, {}, conditions_of(config.targets)});
  if (!of_engine) {
    return std::move(of_engine).error();
  }
  out->targets_ = targets_of(config.targets, of_engine->get());
  out->sets_.push_back(std::move(*of_engine));
  for (std::size_t i = 0; i < config.targets.size(); ++i) {
    const TargetConfig& target = config.targets[i];
    if (target.translator.empty()) {
      continue;
    }
    const auto own = with_site(target.translator);
    auto sets =
        own ? MappingSets::open(
                  {laid_over(*own, *common), folder, config.approval_needed, target.name, {}})
            : own.error();
    if (!sets) {
      return Error(sets.error().code, "target '" + target.name + "': " + sets.error().detail,
                   sets.error().where);
    }
    out->targets_[i].core = sets->get();
    out->sets_.push_back(std::move(*sets));
  }
  return out;
}

std::vector<therapy::Condition> conditions_of(const std::vector<TargetConfig>& targets) {
  std::vector<therapy::Condition> out;
  for (const TargetConfig& target : targets) {
    if (!target.only.empty()) {
      out.push_back({"target '" + target.name + "'", target.only});
    }
  }
  return out;
}

std::vector<intake::Target> targets_of(const std::vector<TargetConfig>& targets,
                                       const intake::SessionCore* core) {
  std::vector<intake::Target> out;
  std::size_t conditions = 0;
  for (const TargetConfig& target : targets) {
    out.emplace_back(target.name, core);
    if (!target.only.empty()) {
      out.back().condition = conditions++;
    }
  }
  return out;
}

std::set<std::string> TargetSets::names() const {
  std::set<std::string> out;
  for (std::size_t i = 1; i < sets_.size(); ++i) {
    out.insert(sets_[i]->target());
  }
  return out;
}

std::string TargetSets::status() const {
  std::string text = sets_.front()->status();
  if (sets_.size() == 1) {
    return text;
  }
  text.pop_back();
  text += R"(,"targets":[)";
  for (std::size_t i = 1; i < sets_.size(); ++i) {
    text += i == 1 ? R"({"target":)" : R"(,{"target":)";
    json::write_string(sets_[i]->target(), text);
    text += "," + sets_[i]->status().substr(1);
  }
  return text + "]}";
}

MappingSets* TargetSets::of(std::string_view target) const {
  const auto found = std::find_if(sets_.begin(), sets_.end(),
                                  [&](const auto& one) { return one->target() == target; });
  return found == sets_.end() ? nullptr : found->get();
}

Result<web::MappingChange> TargetSets::approve(std::string_view name, std::string_view target,
                                               std::string_view by, std::string_view why) {
  MappingSets* chosen = of(target);
  if (chosen == nullptr) {
    return no_sets_of_its_own();
  }
  if (target.empty() && !chosen->waits(name)) {
    std::string where;
    std::size_t places = 0;
    for (const auto& sets : sets_) {
      if (sets->waits(name)) {
        where += (places++ == 0 ? "'" : ", '") + sets->target() + "'";
        chosen = sets.get();
      }
    }
    if (places > 1) {
      return Error(ErrorCode::kConflict, "this set waits for several targets; say which: " + where,
                   "target");
    }
  }
  const auto event = chosen->approve(name, by, why);
  return event ? Result<web::MappingChange>(changed(*chosen, *event)) : event.error();
}

Result<web::MappingChange> TargetSets::roll_back(std::string_view target, std::string_view by,
                                                 std::string_view why) {
  MappingSets* chosen = of(target);
  if (chosen == nullptr) {
    return no_sets_of_its_own();
  }
  const auto event = chosen->roll_back(by, why);
  return event ? Result<web::MappingChange>(changed(*chosen, *event)) : event.error();
}

}  // namespace engine::cli
