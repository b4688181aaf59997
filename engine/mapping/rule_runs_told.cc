// The notes of the rules that ran, written as JSON.

#include <algorithm>
#include <cstdint>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>
#include <vector>

#include "engine/json/write.h"
#include "engine/mapping/mapping.h"

namespace engine::mapping {
namespace {

constexpr std::size_t kValueBytes = 200;

// Whole characters only.
std::string shortened(std::string_view text) {
  if (text.size() <= kValueBytes) {
    return std::string(text);
  }
  std::size_t end = kValueBytes;
  while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) {
    --end;
  }
  return std::string(text.substr(0, end)) + "...";
}

class RuleRunWriter {
 public:
  RuleRunWriter(const json::Node& source, const json::Node* root) : source_(source), root_(root) {}

  void add(const Run& run, const RuleRun& one, std::string& out) {
    out += "{\"rule\":" + std::to_string(rule_of(one)) + ",\"depth\":" + std::to_string(one.depth) +
           ",\"fired\":" + (one.fired ? "true" : "false");
    list(out, "read", reads_of(run, one));
    std::vector<std::string> made;
    for (const LineageEntry& entry : run.lineage().subspan(one.first_made, one.made_count)) {
      made.push_back(place_of(*entry.output, root_));
    }
    list(out, "made", made);
    std::vector<std::string> broke;
    for (const std::string& text : one.broke) {
      json::write_string(text, broke.emplace_back());
    }
    list(out, "broke", broke);
    out += "}";
  }
  const std::string& rules() const { return rules_; }

 private:
  static void list(std::string& out, std::string_view name, const std::vector<std::string>& items) {
    if (items.empty()) {
      return;
    }
    out.append(",\"").append(name).append("\":[");
    for (std::size_t i = 0; i < items.size(); ++i) {
      out.append(i > 0 ? "," : "").append(items[i]);
    }
    out += "]";
  }

  // What its sources found, then what its values were read from.
  std::vector<std::string> reads_of(const Run& run, const RuleRun& one) const {
    std::vector<std::string> out;
    std::vector<const json::Node*> known;
    const auto node = [&](const json::Node* from) {
      if (std::find(known.begin(), known.end(), from) == known.end()) {
        known.push_back(from);
        out.push_back(place_of(*from, &source_));
      }
    };
    for (const RuleRead& read : run.rule_reads().subspan(one.first_read, one.read_count)) {
      if (read.node != nullptr) {
        node(read.node);
      } else {
        std::string value = "{\"value\":";
        json::write_string(shortened(read.text), value);
        out.push_back(value + "}");
      }
    }
    for (const LineageEntry& entry : run.lineage().subspan(one.first_made, one.made_count)) {
      for (const json::Node* input : run.inputs().subspan(entry.first_input, entry.input_count)) {
        node(input);
      }
    }
    return out;
  }

  std::string place_of(const json::Node& node, const json::Node* usual) const {
    const json::Node* top = &node;
    while (top->parent != nullptr) {
      top = top->parent;
    }
    std::string out = "{\"at\":";
    json::write_string(top == &source_ || top == root_ ? json::pointer_of(node) : std::string(),
                       out);
    if (top != usual) {
      out += top == &source_ ? ",\"in\":\"source\""
             : top == root_  ? ",\"in\":\"output\""
                             : ",\"in\":\"nowhere\"";
    }
    if (!node.is_object() && !node.is_array()) {
      out += ",\"value\":";
      json::write_string(shortened(node.is_string() ? std::string(node.text()) : to_text(node)),
                         out);
    }
    return out + "}";
  }

  std::size_t rule_of(const RuleRun& run) {
    const auto [at, fresh] = numbers_.emplace(run.rule, numbers_.size());
    if (fresh) {
      rules_ += rules_.empty() ? "" : ",";
      rules_ += run.rule->row;
    }
    return at->second;
  }

  const json::Node& source_;
  const json::Node* root_;
  std::string rules_;
  std::unordered_map<const RuleLabel*, std::size_t> numbers_;
};

}  // namespace

void write_rule_runs(std::span<const Run* const> runs, const json::Node& source,
                     const json::Node* root, std::size_t bytes_max, std::string& out) {
  RuleRunWriter writer(source, root);
  std::string rows;
  std::string log;
  std::size_t left = 0;
  for (const Run* run : runs) {
    left += run->rule_runs_left_out();
    for (const RuleRun& one : run->rule_runs()) {
      if (rows.size() > bytes_max) {
        ++left;
        continue;
      }
      rows += rows.empty() ? "" : ",";
      writer.add(*run, one, rows);
    }
    for (const TraceLine& line : run->trace()) {
      if (log.size() > bytes_max) {
        break;
      }
      log += log.empty() ? "{\"place\":" : ",{\"place\":";
      json::write_string(line.place, log);
      log += ",\"text\":";
      json::write_string(shortened(line.text), log);
      log += "}";
    }
  }
  out += "{\"rules\":[" + writer.rules() + "],\"runs\":[" + rows + "],\"log\":[" + log +
         "],\"left\":" + std::to_string(left) + "}";
}

}  // namespace engine::mapping
