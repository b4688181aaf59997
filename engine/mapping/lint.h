#pragma once
// What a set of maps that compiles may still be missing: groups nobody calls, rules that do nothing
// or never fire, fields of the source model that no rule reads. Advice for the author, never an
// error.

#include <string>
#include <string_view>
#include <vector>

#include "engine/mapping/mapping.h"

namespace engine::mapping {

struct LintFinding {
  std::string place;  // "file:line:column"; empty for an unread field
  std::string kind;   // "unused-group", "idle-rule", "dead-condition", "unread-field"
  std::string text;
};

// `below`, when given, keeps only the unread fields under that path ("TherapySession.entry").
std::vector<LintFinding> lint(const MapSet& maps, std::string_view below = {});

}  // namespace engine::mapping
