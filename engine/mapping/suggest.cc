#include "engine/mapping/suggest.h"

#include <algorithm>

namespace engine::mapping {
namespace {

char lower(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

// Edit distance with a swap of neighbours counting once, in half steps.
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::vector<std::size_t>> cost(a.size() + 1, std::vector<std::size_t>(b.size() + 1));
  for (std::size_t i = 0; i <= a.size(); ++i) {
    cost[i][0] = 2 * i;
  }
  for (std::size_t j = 0; j <= b.size(); ++j) {
    cost[0][j] = 2 * j;
  }
  for (std::size_t i = 1; i <= a.size(); ++i) {
    for (std::size_t j = 1; j <= b.size(); ++j) {
      std::size_t change = 2;
      if (a[i - 1] == b[j - 1]) {
        change = 0;
      } else if (lower(a[i - 1]) == lower(b[j - 1])) {
        change = 1;
      }
      cost[i][j] = std::min({cost[i - 1][j] + 2, cost[i][j - 1] + 2, cost[i - 1][j - 1] + change});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
        cost[i][j] = std::min(cost[i][j], cost[i - 2][j - 2] + 2);
      }
    }
  }
  return cost[a.size()][b.size()];
}

}  // namespace

std::string nearest_name(std::string_view wanted, std::span<const std::string_view> candidates) {
  constexpr std::size_t kLongestCompared = 64;
  if (wanted.size() > kLongestCompared) {
    return {};
  }
  std::size_t best = (wanted.size() < 3 ? 1 : std::max<std::size_t>(2, 2 * wanted.size() / 3)) + 1;
  std::string_view found;
  for (const std::string_view candidate : candidates) {
    if (candidate.size() > kLongestCompared) {
      continue;
    }
    const std::size_t d = distance(wanted, candidate);
    if (d < best) {
      best = d;
      found = candidate;
    }
  }
  return std::string(found);
}

std::string did_you_mean(std::string_view wanted, std::span<const std::string_view> candidates) {
  const std::string nearest = nearest_name(wanted, candidates);
  return nearest.empty() ? std::string() : "; did you mean '" + nearest + "'?";
}

}  // namespace engine::mapping
