#include "engine/mapping/ast.h"

#include <unordered_set>

namespace engine::mapping {

std::string place_text(const std::string& file, Place place) {
  if (place.line == 0) {
    return file;
  }
  return file + ":" + std::to_string(place.line) + ":" + std::to_string(place.column);
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

void fill_names(std::vector<Rule>& rules, std::unordered_set<std::string>& taken,
                std::size_t& count) {
  for (Rule& rule : rules) {
    ++count;
    if (rule.name.empty()) {
      std::string stem = "rule" + std::to_string(count);
      if (rule.sources.size() == 1 && !rule.sources[0].path.elements.empty()) {
        stem = rule.sources[0].path.elements.back();
        if (!rule.sources[0].type.empty()) {
          stem += "-" + rule.sources[0].type;
        }
      }
      rule.name = stem;
      for (std::size_t n = 2; !taken.insert(rule.name).second; ++n) {
        rule.name = stem + "-" + std::to_string(n);
      }
    }
    fill_names(rule.rules, taken, count);
  }
}

}  // namespace

void name_rules(Map& map) {
  for (Group& group : map.groups) {
    std::unordered_set<std::string> taken;
    collect_names(group.rules, taken);
    std::size_t count = 0;
    fill_names(group.rules, taken, count);
  }
}

}  // namespace engine::mapping
