#pragma once
// What a set of maps that compiles may still be missing: groups nobody calls, rules that do nothing
// or never fire, fields of the source model that no rule reads. Advice for the author, never an
// error.

#include <span>
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

struct LintOptions {
  // Keeps only the unread fields under this path ("TherapySession.entry").
  std::string_view below;
  // "map#group" of groups that the program calls itself; a map by the last part of its url.
  std::span<const std::string_view> called;
  // Paths of fields that the program reads itself, or that are not meant for a map; what lies below
  // one counts too.
  std::span<const std::string_view> read;
};
std::vector<LintFinding> lint(const MapSet& maps, const LintOptions& options = {});

}  // namespace engine::mapping
