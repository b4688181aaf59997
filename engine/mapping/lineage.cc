// The lineage as JSON: written in tables, and told in full.

#include <charconv>
#include <cstdint>
#include <cstring>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>
#include <vector>

#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/mapping/mapping.h"

namespace engine::mapping {

namespace {

// A table from nodes to numbers, filled once: linear probing, at most half full.
class NodeTable {
 public:
  explicit NodeTable(std::size_t count) {
    std::size_t size = 64;
    while (size < 2 * count) {
      size *= 2;
    }
    slots_.resize(size);
  }
  // The number of a node, or `fresh` when it had none and has that one now.
  std::uint32_t add(const json::Node* node, std::uint32_t fresh) {
    Slot& slot = slots_[place(node)];
    if (slot.node == nullptr) {
      if (2 * ++count_ > slots_.size()) {
        grow();
        return add(node, fresh);
      }
      slot = {node, fresh};
    }
    return slot.number;
  }
  const std::uint32_t* find(const json::Node* node) const {
    const Slot& slot = slots_[place(node)];
    return slot.node == nullptr ? nullptr : &slot.number;
  }

 private:
  struct Slot {
    const json::Node* node = nullptr;
    std::uint32_t number = 0;
  };
  std::size_t place(const json::Node* node) const {
    // Nodes lie 64 bytes apart in their arena, so the bits above tell them apart.
    std::size_t at = (reinterpret_cast<std::uintptr_t>(node) >> 6) * 0x9E3779B97F4A7C15ULL >> 20;
    for (;; ++at) {
      const Slot& slot = slots_[at & (slots_.size() - 1)];
      if (slot.node == node || slot.node == nullptr) {
        return at & (slots_.size() - 1);
      }
    }
  }
  void grow() {
    std::vector<Slot> old = std::move(slots_);
    slots_.assign(old.size() * 2, Slot());
    count_ = 0;
    for (const Slot& slot : old) {
      if (slot.node != nullptr) {
        add(slot.node, slot.number);
      }
    }
  }

  std::vector<Slot> slots_;
  std::size_t count_ = 0;
};

// A member's name as a token of a JSON Pointer (RFC 6901), escaped for a JSON string.
void append_token(std::string_view name, std::string& out) {
  bool plain = true;
  for (const char c : name) {
    plain = plain && c != '~' && c != '/' && c != '"' && c != '\\' &&
            static_cast<unsigned char>(c) >= ' ';
  }
  if (plain) {
    out += name;
    return;
  }
  std::string token;
  for (const char c : name) {
    if (c == '~' || c == '/') {
      token += c == '~' ? "~0" : "~1";
    } else {
      token.push_back(c);
    }
  }
  std::string quoted;
  json::write_string(token, quoted);
  out += std::string_view(quoted).substr(1, quoted.size() - 2);
}

// Rows are put together here and handed over whole.
class Row {
 public:
  explicit Row(std::string& out) : out_(out) {}
  void begin(std::string_view path) {
    if (line_.size() < path.size() + kNumbers) {
      line_.resize(2 * (path.size() + kNumbers));
    }
    at_ = line_.data();
    std::memcpy(at_, ",[\"", 3);
    std::memcpy(at_ + 3, path.data(), path.size());
    at_[3 + path.size()] = '"';
    at_ += path.size() + 4;
  }
  void number(std::uint32_t value) {
    if (static_cast<std::size_t>(line_.data() + line_.size() - at_) < kRoom) {
      hand_over();
    }
    *at_++ = ',';
    at_ = std::to_chars(at_, line_.data() + line_.size(), value).ptr;
  }
  void end() {
    *at_++ = ']';
    hand_over();
  }

 private:
  static constexpr std::size_t kNumbers = 256;  // bytes of a usual row's numbers
  static constexpr std::size_t kRoom = 16;      // a comma, ten digits and the end
  void hand_over() {
    out_.append(line_.data(), static_cast<std::size_t>(at_ - line_.data()));
    at_ = line_.data();
  }

  std::string& out_;
  std::string line_ = std::string(2 * kNumbers, '\0');
  char* at_ = line_.data();
};

// Walks the output once with the pointer of the place it is at, so that no pointer is built from
// the root for each of some thousand entries.
class LineageWriter {
 public:
  LineageWriter(const Run& run, const json::Node& root, std::string& out)
      : run_(run),
        root_(root),
        out_(out),
        row_(elements_),
        entries_(run.lineage().size()),
        known_inputs_(run.lineage().size() / 8) {
    constexpr std::size_t kRowBytes = 72;
    elements_.reserve(run.lineage().size() * kRowBytes);
    std::uint32_t number = 0;
    for (const LineageEntry& entry : run.lineage()) {
      entries_.add(entry.output, number++);
    }
  }

  void write() {
    visit(root_);
    out_ += "{\"rules\":[";
    out_ += std::string_view(rule_rows_).substr(rule_rows_.empty() ? 0 : 1);
    out_ += "],\"inputs\":[";
    out_ += std::string_view(input_rows_).substr(input_rows_.empty() ? 0 : 1);
    out_ += "],\"elements\":[";
    out_ += std::string_view(elements_).substr(elements_.empty() ? 0 : 1);
    out_ += "]}";
  }

 private:
  static constexpr std::uint32_t kNone = 0xFFFFFFFF;

  // Where an input comes from: a place in a source document, or the entry that made it when it is
  // output itself; neither for output that nothing is known of.
  struct Origin {
    std::uint32_t number = kNone;  // among "inputs"
    const LineageEntry* made_by = nullptr;
  };

  const LineageEntry* entry_of(const json::Node* node) const {
    const std::uint32_t* number = entries_.find(node);
    return number == nullptr ? nullptr : &run_.lineage()[*number];
  }

  void visit(const json::Node& node) {
    if (const LineageEntry* made = entry_of(&node)) {
      row_.begin(path_);
      row_.number(rule_of(*made));
      inputs(*made, 0);
      row_.end();
    }
    const std::size_t length = path_.size();
    std::uint32_t index = 0;
    for (const json::Node& child : node) {
      path_.push_back('/');
      if (node.is_array()) {
        char digits[12];
        path_.append(digits, std::to_chars(digits, digits + sizeof digits, index++).ptr);
      } else {
        append_token(child.name->text, path_);
      }
      visit(child);
      path_.resize(length);
    }
  }

  std::uint32_t rule_of(const LineageEntry& entry) {
    // A rule's name is one object of the compiled program, so its address stands for the rule.
    const auto known = rules_.find(entry.rule);
    if (known != rules_.end()) {
      return known->second;
    }
    rule_rows_ += ",[";
    json::write_string(entry.place, rule_rows_);
    rule_rows_.push_back(',');
    json::write_string(entry.rule, rule_rows_);
    rule_rows_.push_back(']');
    return rules_.emplace(entry.rule, static_cast<std::uint32_t>(rules_.size())).first->second;
  }

  // An input that is itself output stands for what it was made from.
  void inputs(const LineageEntry& entry, int depth) {
    constexpr int kHopsMax = 8;
    for (const json::Node* input : run_.inputs_of(entry)) {
      const Origin origin = origin_of(*input);
      if (origin.number != kNone) {
        row_.number(origin.number);
      } else if (origin.made_by != nullptr && origin.made_by != &entry && depth < kHopsMax) {
        inputs(*origin.made_by, depth + 1);
      }
    }
  }

  Origin origin_of(const json::Node& input) {
    const auto fresh = static_cast<std::uint32_t>(origins_.size());
    const std::uint32_t known = known_inputs_.add(&input, fresh);
    if (known != fresh) {
      return origins_[known];
    }
    Origin origin;
    const json::Node* top = &input;
    while (true) {
      origin.made_by = origin.made_by != nullptr ? origin.made_by : entry_of(top);
      if (top->parent == nullptr) {
        break;
      }
      top = top->parent;
    }
    if (top != &root_ && origin.made_by == nullptr) {
      origin.number = input_count_++;
      input_rows_.push_back(',');
      json::write_string(json::pointer_of(input), input_rows_);
    }
    origins_.push_back(origin);
    return origin;
  }

  const Run& run_;
  const json::Node& root_;
  std::string& out_;
  std::string path_;  // escaped for a JSON string
  std::string rule_rows_;
  std::string input_rows_;
  std::string elements_;
  Row row_;
  NodeTable entries_;
  NodeTable known_inputs_;
  std::vector<Origin> origins_;
  std::uint32_t input_count_ = 0;
  std::unordered_map<const char*, std::uint32_t> rules_;
};

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

void write_lineage(const Run& run, const json::Node& root, std::string& out) {
  LineageWriter(run, root, out).write();
}

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
