#include <algorithm>
#include <unordered_map>
#include <vector>

#include "engine/fhirpath/function.h"

namespace engine::fhirpath {
namespace {

using Index = std::unordered_map<std::string_view, const Function*>;

const Index& index() {
  static const Index kIndex = [] {
    Index made;
    for (const auto& table :
         {existence_functions(), filter_functions(), subset_functions(), conversion_functions(),
          string_functions(), encoding_functions(), math_functions(), boundary_functions(),
          date_functions(), tree_functions(), fhir_functions()}) {
      for (const Function& row : table) {
        made.emplace(row.name, &row);
      }
    }
    return made;
  }();
  return kIndex;
}

}  // namespace

const Function* find_function(std::string_view name) {
  const auto found = index().find(name);
  return found == index().end() ? nullptr : found->second;
}

std::string_view nearest_function(std::string_view name) {
  std::string_view nearest;
  std::size_t best = 3;
  for (const auto& [candidate, row] : index()) {
    const std::size_t distance = edit_distance(name, candidate, best);
    if (distance < best || (distance == best && best < 3 && candidate < nearest)) {
      best = distance;
      nearest = candidate;
    }
  }
  return nearest;
}

std::size_t edit_distance(std::string_view a, std::string_view b, std::size_t most) {
  const std::size_t apart = a.size() > b.size() ? a.size() - b.size() : b.size() - a.size();
  if (apart > most || a.size() > 64 || b.size() > 64) {
    return most + 1;
  }
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) {
    row[j] = j;
  }
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t above = row[j];
      const std::size_t replaced = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
      row[j] = std::min({above + 1, row[j - 1] + 1, replaced});
      diagonal = above;
    }
  }
  return row[b.size()];
}

}  // namespace engine::fhirpath
