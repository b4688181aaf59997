// Run's public face, and the lineage as JSON.

#include <cstdint>
#include <deque>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>
#include <vector>

#include "engine/json/write.h"
#include "engine/mapping/mapping.h"
#include "engine/mapping/runner.h"

namespace engine::mapping {

struct Run::State {
  State(const Program& program, json::Document& output, RunOptions options)
      : runner(program, output, std::move(options)) {}
  Runner runner;
};

Run::Run(const MapSet& maps, json::Document& output, RunOptions options)
    : state_(std::make_unique<State>(maps.program(), output, std::move(options))) {}
Run::~Run() = default;

base::Result<void> Run::call(std::uint32_t group, std::span<const Binding> bindings) {
  return state_->runner.call(group, bindings);
}

void Run::finish() {
  state_->runner.finish();
}

std::span<const LineageEntry> Run::lineage() const {
  return state_->runner.lineage;
}

std::span<const json::Node* const> Run::inputs_of(const LineageEntry& entry) const {
  return std::span<const json::Node* const>(state_->runner.lineage_inputs)
      .subspan(entry.first_input, entry.input_count);
}

std::span<const Untranslated> Run::untranslated() const {
  return state_->runner.untranslated;
}
std::span<const TraceLine> Run::trace() const {
  return state_->runner.trace;
}

void Run::watch_coverage() {
  state_->runner.with_coverage = true;
  state_->runner.fired.resize(state_->runner.rule_count());
}

const std::vector<bool>& Run::fired_rules() const {
  return state_->runner.fired;
}

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

void append_number(std::size_t value, std::string& out) {
  char digits[24];
  std::size_t count = 0;
  do {
    digits[count++] = static_cast<char>('0' + value % 10);
    value /= 10;
  } while (value > 0);
  while (count > 0) {
    out.push_back(digits[--count]);
  }
}

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

// Walks the output once with the pointer of the place it is at, so that no pointer is built from
// the root for each of some thousand entries; everything that repeats is written once and copied.
class LineageWriter {
 public:
  LineageWriter(const Run& run, const json::Node& root, std::string& out)
      : run_(run),
        root_(root),
        out_(out),
        entries_(run.lineage().size()),
        known_inputs_(run.lineage().size() / 8) {
    std::uint32_t number = 0;
    for (const LineageEntry& entry : run.lineage()) {
      entries_.add(entry.output, number++);
    }
  }

  void write() {
    out_.push_back('[');
    visit(root_);
    out_.push_back(']');
  }

 private:
  // Where an input comes from: a pointer in a source document, or the entry that made it when it is
  // output itself; neither for output that nothing is known of.
  struct Origin {
    std::string quoted;  // the pointer as a JSON string
    const LineageEntry* made_by = nullptr;
    bool own = false;
  };

  const LineageEntry* entry_of(const json::Node* node) const {
    const std::uint32_t* number = entries_.find(node);
    return number == nullptr ? nullptr : &run_.lineage()[*number];
  }

  void visit(const json::Node& node) {
    if (const LineageEntry* made = entry_of(&node)) {
      entry(*made);
    }
    const std::size_t length = path_.size();
    std::size_t index = 0;
    for (const json::Node& child : node) {
      path_.push_back('/');
      if (node.is_array()) {
        append_number(index++, path_);
      } else {
        append_token(child.name->text, path_);
      }
      visit(child);
      path_.resize(length);
    }
  }

  void entry(const LineageEntry& entry) {
    out_ += first_ ? "{\"output\":\"" : ",{\"output\":\"";
    first_ = false;
    out_ += path_;
    out_ += rule_part(entry);
    bool first = true;
    inputs(entry, first, 0);
    out_ += "]}";
  }

  // What follows the path of every element that one rule made.
  const std::string& rule_part(const LineageEntry& entry) {
    std::string& text = rules_[entry.rule];
    if (text.empty()) {
      text = "\",\"rule\":";
      json::write_string(entry.place, text);
      text += ",\"name\":";
      json::write_string(entry.rule, text);
      text += ",\"inputs\":[";
    }
    return text;
  }

  // An input that is itself output stands for what it was made from.
  void inputs(const LineageEntry& entry, bool& first, int depth) {
    constexpr int kHopsMax = 8;
    for (const json::Node* input : run_.inputs_of(entry)) {
      const Origin& origin = origin_of(*input);
      if (origin.own) {
        if (origin.made_by != nullptr && origin.made_by != &entry && depth < kHopsMax) {
          inputs(*origin.made_by, first, depth + 1);
        }
        continue;
      }
      if (!first) {
        out_.push_back(',');
      }
      first = false;
      out_ += origin.quoted;
    }
  }

  const Origin& origin_of(const json::Node& input) {
    const auto fresh = static_cast<std::uint32_t>(origins_.size());
    const std::uint32_t number = known_inputs_.add(&input, fresh);
    if (number != fresh) {
      return origins_[number];
    }
    Origin& origin = origins_.emplace_back();
    const json::Node* top = &input;
    while (true) {
      origin.made_by = origin.made_by != nullptr ? origin.made_by : entry_of(top);
      if (top->parent == nullptr) {
        break;
      }
      top = top->parent;
    }
    origin.own = top == &root_ || origin.made_by != nullptr;
    if (!origin.own) {
      json::write_string(json::pointer_of(input), origin.quoted);
    }
    return origin;
  }

  const Run& run_;
  const json::Node& root_;
  std::string& out_;
  std::string path_;  // escaped for a JSON string
  bool first_ = true;
  NodeTable entries_;
  NodeTable known_inputs_;
  std::deque<Origin> origins_;
  std::unordered_map<const char*, std::string> rules_;  // by the address of the rule's name
};

}  // namespace

void write_lineage(const Run& run, const json::Node& root, std::string& out) {
  LineageWriter(run, root, out).write();
}

}  // namespace engine::mapping
