#include "engine/web/asked.h"

#include <algorithm>
#include <charconv>
#include <utility>
#include <vector>

#include "engine/fhir/instant.h"

namespace engine::web {
namespace {

base::Error bad(std::string_view name, std::string_view what) {
  return base::Error(base::ErrorCode::kInvalid, "'" + std::string(name) + "' " + std::string(what));
}

}  // namespace

base::Result<std::uint64_t> whole_at(const json::Node& wish, std::string_view name,
                                     std::uint64_t max) {
  const json::Node* node = wish.find(name);
  if (node == nullptr) {
    return std::uint64_t{0};
  }
  std::uint64_t value = 0;
  const std::string_view text = node->text();
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (!node->is_number() || error != std::errc() || end != text.data() + text.size() ||
      value > max || value == 0) {
    return bad(name, "is a whole number from 1 to " + std::to_string(max));
  }
  return value;
}

base::Result<std::string> text_at(const json::Node& wish, std::string_view name) {
  const json::Node* node = wish.find(name);
  if (node == nullptr) {
    return std::string();
  }
  if (!node->is_string() || node->length == 0) {
    return bad(name, "is a text that is not empty; without it leave it out");
  }
  return std::string(node->text());
}

base::Result<std::string> instant_at(const json::Node& wish, std::string_view name) {
  const auto text = text_at(wish, name);
  auto instant = text ? fhir::utc_of(*text) : text;
  if (!instant) {
    return bad(name, "is an instant such as 2026-03-02T08:00:00Z or 2026-03-02T09:00:00+01:00");
  }
  return instant;
}

base::Result<void> check_members(const json::Node& wish,
                                 std::initializer_list<std::string_view> known) {
  std::vector<std::string_view> seen;
  for (const json::Node& member : wish) {
    const std::string_view name = member.name_text();
    if (std::find(known.begin(), known.end(), name) == known.end()) {
      std::string all;
      for (const std::string_view one : known) {
        all.append(all.empty() ? "'" : ", '").append(one).append("'");
      }
      return base::Error(base::ErrorCode::kInvalid, "send no members but " + all);
    }
    if (std::find(seen.begin(), seen.end(), name) != seen.end()) {
      return bad(name, "stands here a second time");
    }
    seen.push_back(name);
  }
  return {};
}

}  // namespace engine::web
