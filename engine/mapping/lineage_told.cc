// The lineage told in full.

#include <charconv>
#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/mapping/mapping.h"

namespace engine::mapping {
namespace {

// The member of the tables that a number names; nullptr when it names none.
const json::Node* numbered(const std::vector<const json::Node*>& table, const json::Node& number) {
  std::uint32_t index = 0;
  const std::string_view text = number.text();
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), index);
  return number.is_number() && error == std::errc() && end == text.data() + text.size() &&
                 index < table.size()
             ? table[index]
             : nullptr;
}

std::vector<const json::Node*> table_of(const json::Node* array) {
  std::vector<const json::Node*> out;
  if (array != nullptr && array->is_array()) {
    for (const json::Node& one : *array) {
      out.push_back(&one);
    }
  }
  return out;
}

}  // namespace

base::Result<std::string> tell_lineage(std::string_view lineage) {
  const json::NameTable names;
  json::Document document(names);
  const auto broken = [] {
    return base::Error(base::ErrorCode::kInvalid, "this is no lineage as the engine writes it");
  };
  if (auto parsed = document.parse(lineage); !parsed) {
    return std::move(parsed).error();
  }
  const std::vector<const json::Node*> rules = table_of(document.root()->find("rules"));
  const std::vector<const json::Node*> inputs = table_of(document.root()->find("inputs"));
  std::string out = "[";
  for (const json::Node* row : table_of(document.root()->find("elements"))) {
    const json::Node* output = row->first;
    const json::Node* rule_number = output != nullptr ? output->next : nullptr;
    const json::Node* rule = rule_number != nullptr ? numbered(rules, *rule_number) : nullptr;
    if (rule == nullptr || rule->count != 2) {
      return broken();
    }
    out += out.size() > 1 ? ",{\"output\":" : "{\"output\":";
    json::write_string(output->text(), out);
    out += ",\"rule\":";
    json::write_string(rule->first->text(), out);
    out += ",\"name\":";
    json::write_string(rule->last->text(), out);
    out += ",\"inputs\":[";
    for (const json::Node* number = rule_number->next; number != nullptr; number = number->next) {
      const json::Node* input = numbered(inputs, *number);
      if (input == nullptr) {
        return broken();
      }
      out += number == rule_number->next ? "" : ",";
      json::write_string(input->text(), out);
    }
    out += "]}";
  }
  out += "]";
  return out;
}

}  // namespace engine::mapping
