#pragma once
// A record server as intake sees it: what its bundles are made with, and which sessions are meant
// for it. Pure.

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "engine/intake/session_core.h"
#include "engine/journal/store.h"

namespace engine::intake {

struct Target {
  std::string name;
  const SessionCore* core;  // its mapping and profile sets; must outlive the intake
  // Which of the admitting core's conditions a session must meet to go there; none: all go.
  std::optional<std::size_t> condition = {};
  Target(std::string n, const SessionCore* c) : name(std::move(n)), core(c) {}
};

// Writes into an acceptance for whom it is meant, and who gets it only when an earlier revision
// went there. What cannot be decided goes there to be held, where a person sees it. `meets`: of the
// admitted document.
void choose_targets(std::span<const Target> targets, const std::vector<therapy::Meets>& meets,
                    journal::Change& acceptance);

}  // namespace engine::intake
