#include "engine/check/place.h"

#include <algorithm>
#include <array>
#include <vector>

namespace engine::check {
namespace {

std::size_t index_in(const json::Node& item) {
  std::size_t index = 0;
  for (const json::Node* at = item.parent->first; at != &item && at != nullptr; at = at->next) {
    ++index;
  }
  return index;
}

shapes::TypeId own_type(const json::Node& object, const shapes::TypeModel& types,
                        shapes::TypeId declared) {
  if (declared != shapes::kNoType && types.info(declared).kind != shapes::TypeKind::kResource) {
    return declared;
  }
  const std::string_view name = object.string_at("resourceType");
  const std::optional<shapes::TypeId> found = name.empty() ? std::nullopt : types.find(name);
  return found.value_or(declared);
}

// Damerau-Levenshtein (adjacent swaps count one), bounded names only.
std::size_t distance(std::string_view a, std::string_view b) {
  constexpr std::size_t kMax = 48;
  if (a.size() > kMax || b.size() > kMax) {
    return kMax;
  }
  std::array<std::array<std::size_t, kMax + 1>, kMax + 1> d{};
  for (std::size_t i = 0; i <= a.size(); ++i) {
    d[i][0] = i;
  }
  for (std::size_t j = 0; j <= b.size(); ++j) {
    d[0][j] = j;
  }
  const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; };
  for (std::size_t i = 1; i <= a.size(); ++i) {
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const bool same = lower(a[i - 1]) == lower(b[j - 1]);
      d[i][j] = std::min({d[i - 1][j] + 1, d[i][j - 1] + 1, d[i - 1][j - 1] + (same ? 0U : 1U)});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
        d[i][j] = std::min(d[i][j], d[i - 2][j - 2] + 1);
      }
    }
  }
  return d[a.size()][b.size()];
}

}  // namespace

std::string place_of(const json::Node& node, const json::Node& root,
                     const shapes::TypeModel& types) {
  std::vector<const json::Node*> chain;
  for (const json::Node* at = &node; at != nullptr && at != &root; at = at->parent) {
    chain.push_back(at);
  }
  shapes::TypeId type = own_type(root, types, shapes::kNoType);
  std::string out(type != shapes::kNoType ? types.info(type).name : root.string_at("resourceType"));
  for (std::size_t i = chain.size(); i-- > 0;) {
    const json::Node& step = *chain[i];
    if (step.name == nullptr) {  // an item: its array was rendered before
      out += '[' + std::to_string(index_in(step)) + ']';
      type = own_type(step, types, type);
      continue;
    }
    const shapes::Member* member =
        type != shapes::kNoType ? types.member(type, step.name) : nullptr;
    if (!out.empty()) {
      out += '.';
    }
    if (member != nullptr) {
      out += types.info(type).elements[member->element].stem->text;
      type = own_type(step, types, member->type);
    } else {
      out += step.name->text;
      type = own_type(step, types, shapes::kNoType);
    }
  }
  return out;
}

void NearestName::offer(std::string_view candidate) {
  const std::size_t d = distance(wanted_, candidate);
  const std::size_t most = wanted_.size() <= 4 ? 1 : (wanted_.size() <= 8 ? 2 : 3);
  if (d <= most && (best_.empty() || d < distance_)) {
    best_ = candidate;
    distance_ = d;
  }
}

}  // namespace engine::check
