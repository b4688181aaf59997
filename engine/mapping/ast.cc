#include "engine/mapping/ast.h"

#include <algorithm>
#include <unordered_map>
#include <unordered_set>
#include <utility>

namespace engine::mapping {

std::string place_text(const std::string& file, Place place) {
  if (place.line == 0) {
    return file;
  }
  return file + ":" + std::to_string(place.line) + ":" + std::to_string(place.column);
}

void EmbeddedConceptMap::provide(std::string system) {
  if (std::find(provided_systems.begin(), provided_systems.end(), system) ==
      provided_systems.end()) {
    provided_systems.push_back(std::move(system));
  }
}

namespace {

void collect_names(const std::vector<Rule>& rules, std::unordered_set<std::string>& taken) {
  for (const Rule& rule : rules) {
    if (!rule.name.empty()) {
      taken.insert(rule.name);
    }
    collect_names(rule.rules, taken);
  }
}

struct Naming {
  std::unordered_set<std::string> taken;
  std::unordered_map<std::string, std::size_t> last;  // number given, by stem
  std::size_t count = 0;                              // of rules
};

void fill_names(std::vector<Rule>& rules, Naming& naming) {
  for (Rule& rule : rules) {
    ++naming.count;
    if (rule.name.empty()) {
      std::string stem = "rule" + std::to_string(naming.count);
      if (rule.sources.size() == 1 && !rule.sources[0].path.elements.empty()) {
        stem = rule.sources[0].path.elements.back();
        if (!rule.sources[0].type.empty()) {
          stem += "-" + rule.sources[0].type;
        }
      }
      rule.name = stem;
      while (!naming.taken.insert(rule.name).second) {
        std::size_t& number = naming.last.try_emplace(stem, 1).first->second;
        rule.name = stem + "-" + std::to_string(++number);
      }
    }
    fill_names(rule.rules, naming);
  }
}

}  // namespace

void name_rules(Map& map) {
  for (Group& group : map.groups) {
    Naming naming;
    collect_names(group.rules, naming.taken);
    fill_names(group.rules, naming);
  }
}

}  // namespace engine::mapping
