#pragma once
// All mapping sets of a running engine: its own, which admits documents and serves every target
// that says nothing else, and those of targets with maps or profiles of their own. Thread safe
// after open().

#include <memory>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/cli/mapping_sets.h"
#include "engine/cli/serve_config.h"
#include "engine/intake/intake.h"
#include "engine/web/api.h"

namespace engine::cli {

class TargetSets {
 public:
  // `folder`: of the kept sets. Errors: as MappingSets::open(), with the target's name; kInvalid
  // for a target's condition that cannot be used.
  static base::Result<std::unique_ptr<TargetSets>> open(const ServeConfig& config,
                                                        const std::string& folder);

  MappingSets& engine() { return *sets_.front(); }
  // The engine's first.
  const std::vector<std::unique_ptr<MappingSets>>& all() const { return sets_; }
  // The targets that have their own.
  std::set<std::string> names() const;
  // What intake makes bundles with for each target of the configuration, and which condition of the
  // engine's set it asks.
  const std::vector<intake::Target>& targets() const { return targets_; }

  // As MappingSets::status(), with "targets":[{"target",...}] for those that have their own.
  std::string status() const;
  // The waiting set of that name. `target`: where it waits; empty: at the engine itself, else in
  // the one place where it does. Errors: as MappingSets::approve(); kNotFound when the target has
  // no sets of its own; kConflict when it waits for several targets and none is named.
  base::Result<web::MappingChange> approve(std::string_view name, std::string_view target,
                                           std::string_view by, std::string_view why);
  // `target`: whose sets; empty: the engine's. Errors: as MappingSets::roll_back(), and kNotFound
  // when the target has none of its own.
  base::Result<web::MappingChange> roll_back(std::string_view target, std::string_view by,
                                             std::string_view why);

 private:
  // nullptr when the target has none of its own; empty: the engine's.
  MappingSets* of(std::string_view target) const;

  std::vector<std::unique_ptr<MappingSets>> sets_;
  std::vector<intake::Target> targets_;
};

// What the targets ask of sessions, and which of it each target asks; `core` is everybody's.
std::vector<therapy::Condition> conditions_of(const std::vector<TargetConfig>& targets);
std::vector<intake::Target> targets_of(const std::vector<TargetConfig>& targets,
                                       const intake::SessionCore* core);

// As it is written into the program's log: of which target it is, if it is of one.
std::string text_of(const MappingSets& sets, const MappingSets::Event& event);

}  // namespace engine::cli
