#pragma once
// Steps down a document's tree, for paths of which any part may be missing: then everything after
// it is missing, too.

#include <initializer_list>
#include <string_view>

#include "engine/json/node.h"

namespace engine::therapy {

// The node at the end of the path; nullptr when a step is missing.
inline const json::Node* step(const json::Node* from,
                              std::initializer_list<std::string_view> members) {
  for (const std::string_view member : members) {
    if (from == nullptr) {
      return nullptr;
    }
    from = from->find(member);
  }
  return from;
}

// The text at the end of the path; empty when there is none.
inline std::string_view step_text(const json::Node* from,
                                  std::initializer_list<std::string_view> members) {
  const json::Node* node = step(from, members);
  return node != nullptr && node->is_string() ? node->text() : std::string_view();
}

}  // namespace engine::therapy
