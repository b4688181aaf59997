#include "engine/intake/target.h"

namespace engine::intake {

void choose_targets(std::span<const Target> targets, const std::vector<therapy::Meets>& meets,
                    journal::Change& acceptance) {
  acceptance.record.targets.clear();
  acceptance.also_if_before.clear();
  for (const Target& target : targets) {
    const bool meant = !target.condition || meets.at(*target.condition) != therapy::Meets::kNo;
    std::string& names = meant ? acceptance.record.targets : acceptance.also_if_before;
    names += (names.empty() ? "" : ",") + target.name;
  }
}

}  // namespace engine::intake
