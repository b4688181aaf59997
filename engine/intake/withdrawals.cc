#include "engine/intake/withdrawals.h"

#include <algorithm>
#include <unordered_set>

#include "engine/json/document.h"

namespace engine::intake {
namespace {

// Takes what a document has out of `missing`. False when it cannot be read.
bool strike(const std::string& body, std::unordered_set<std::string_view>& missing) {
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(body).has_value()) {
    return false;
  }
  if (const json::Node* entries = document.root()->find("entry")) {
    for (const json::Node& entry : *entries) {
      missing.erase(entry.string_at("id"));
    }
  }
  return true;
}

}  // namespace

base::Result<std::optional<std::size_t>> unknown_entry(const journal::Store& store,
                                                       std::string_view session,
                                                       std::uint32_t revision,
                                                       const std::vector<std::string>& ids) {
  constexpr std::optional<std::size_t> kNone;
  if (ids.empty()) {
    return kNone;
  }
  auto earlier = store.acceptances(session);
  if (!earlier) {
    return std::move(earlier).error();
  }
  std::erase_if(*earlier, [revision](const journal::Acceptance& one) {  //
    return one.revision > revision;
  });
  const bool repeated =
      std::any_of(earlier->begin(), earlier->end(),
                  [revision](const journal::Acceptance& one) { return one.revision == revision; });
  if (repeated || earlier->size() != revision - 1) {
    return kNone;
  }
  std::unordered_set<std::string_view> missing(ids.begin(), ids.end());
  for (auto one = earlier->rbegin(); one != earlier->rend() && !missing.empty(); ++one) {
    const auto body = store.part(one->position, "document");
    if (!body && body.error().code != base::ErrorCode::kNotFound &&
        body.error().code != base::ErrorCode::kCorrupt) {
      return body.error();
    }
    if (!body || !strike(*body, missing)) {
      return kNone;
    }
  }
  const auto found = std::find_if(ids.begin(), ids.end(),
                                  [&](const std::string& id) { return missing.count(id) != 0; });
  return found == ids.end() ? kNone : std::optional(static_cast<std::size_t>(found - ids.begin()));
}

}  // namespace engine::intake
