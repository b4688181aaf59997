// The lineage written as JSON tables.

#include <array>
#include <charconv>
#include <cstdint>
#include <cstring>
#include <deque>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>
#include <vector>

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

// A set that may say yes for a node that is not in it, and never no for one that is. Small enough
// to stay in the processor's nearest cache, where the table is not.
class NodeFilter {
 public:
  void add(const json::Node* node) { words_[place(node) / 64] |= bit(node); }
  bool may_have(const json::Node* node) const {
    return (words_[place(node) / 64] & bit(node)) != 0;
  }

 private:
  static constexpr std::size_t kBits = std::size_t{1} << 15;
  static std::size_t place(const json::Node* node) {
    return (reinterpret_cast<std::uintptr_t>(node) >> 6) & (kBits - 1);
  }
  static std::uint64_t bit(const json::Node* node) { return std::uint64_t{1} << place(node) % 64; }
  std::array<std::uint64_t, kBits / 64> words_ = {};
};

// A member's name as a token of a JSON Pointer (RFC 6901), escaped for a JSON string.
std::string token_of(std::string_view name) {
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
  return quoted.substr(1, quoted.size() - 2);
}

// Text that grows at its end, or from a place before it.
class Text {
 public:
  explicit Text(std::size_t bytes) : bytes_(bytes, '\0') {}
  // Makes room for so many bytes behind `at`, and says where they begin.
  char* room(std::size_t at, std::size_t more) {
    if (bytes_.size() < at + more) {
      bytes_.resize(2 * (at + more));
    }
    return bytes_.data() + at;
  }
  std::string_view first(std::size_t count) const {
    return std::string_view(bytes_).substr(0, count);
  }

 private:
  std::string bytes_;
};

// Walks the output once with the pointer of the place it is at, so that no pointer is built from
// the root for each of some thousand entries.
class LineageWriter {
 public:
  LineageWriter(std::span<const Run* const> runs, const json::Node& root, std::string& out)
      : root_(root),
        out_(out),
        lineage_(joined(runs)),
        inputs_(joined_inputs(runs)),
        elements_(lineage_.size() * kRowBytes + kRoom),
        entries_(lineage_.size()),
        known_inputs_(lineage_.size() / 8),
        input_texts_(lineage_.size() / 8) {
    std::uint32_t number = 0;
    for (const LineageEntry& entry : lineage_) {
      entries_.add(entry.output, number++);
      has_entry_.add(entry.output);
    }
  }

  void write() {
    visit(root_, 0);
    const std::string_view elements = elements_.first(size_);
    out_.reserve(out_.size() + rule_rows_.size() + input_rows_.size() + elements.size() + kRoom);
    out_ += "{\"rules\":[";
    out_ += std::string_view(rule_rows_).substr(rule_rows_.empty() ? 0 : 1);
    out_ += "],\"inputs\":[";
    out_ += std::string_view(input_rows_).substr(input_rows_.empty() ? 0 : 1);
    out_ += "],\"elements\":[";
    out_ += elements.substr(elements.empty() ? 0 : 1);
    out_ += "]}";
  }

 private:
  static constexpr std::uint32_t kNone = 0xFFFFFFFF;
  static constexpr std::size_t kRowBytes = 64;  // of a usual element
  static constexpr std::size_t kRoom = 64;      // for what is put around names and numbers

  // Where an input comes from: a place in a source document, or the entry that made it when it is
  // output itself; neither for output that nothing is known of.
  struct Origin {
    std::uint32_t number = kNone;  // among "inputs"
    const LineageEntry* made_by = nullptr;
  };

  // The entries of all runs, which name their inputs by where those stand in joined_inputs().
  static std::vector<LineageEntry> joined(std::span<const Run* const> runs) {
    std::vector<LineageEntry> out;
    std::size_t first = 0;
    for (const Run* run : runs) {
      for (LineageEntry entry : run->lineage()) {
        entry.first_input += static_cast<std::uint32_t>(first);
        out.push_back(entry);
      }
      first += run->inputs().size();
    }
    return out;
  }
  static std::vector<const json::Node*> joined_inputs(std::span<const Run* const> runs) {
    std::vector<const json::Node*> out;
    for (const Run* run : runs) {
      out.insert(out.end(), run->inputs().begin(), run->inputs().end());
    }
    return out;
  }

  const LineageEntry* entry_of(const json::Node* node) const {
    if (!has_entry_.may_have(node)) {
      return nullptr;
    }
    const std::uint32_t* number = entries_.find(node);
    return number == nullptr ? nullptr : &lineage_[*number];
  }

  // `length` bytes of path_ say where the node is, escaped for a JSON string.
  void visit(const json::Node& node, std::size_t length) {
    if (const LineageEntry* made = entry_of(&node)) {
      element(*made, length);
    }
    std::uint32_t index = 0;
    for (const json::Node& child : node) {
      char* at = path_.room(length, kRoom);
      *at++ = '/';
      std::size_t step = 1;
      if (node.is_array()) {
        step += static_cast<std::size_t>(std::to_chars(at, at + kRoom - 1, index++).ptr - at);
      } else {
        const std::string_view name = token(*child.name);
        std::memcpy(path_.room(length + 1, name.size()), name.data(), name.size());
        step += name.size();
      }
      visit(child, length + step);
    }
  }

  // Names that have been looked at, by address, so that a name that repeats is looked at once.
  std::string_view token(const json::Name& name) {
    const json::Name*& known = plain_[(reinterpret_cast<std::uintptr_t>(&name) >> 5) % kPlain];
    if (known == &name) {
      return name.text;
    }
    token_ = token_of(name.text);
    if (token_ == name.text) {
      known = &name;
    }
    return token_;
  }

  void element(const LineageEntry& entry, std::size_t length) {
    char* at = elements_.room(size_, length + kRoom);
    std::memcpy(at, ",[\"", 3);
    std::memcpy(at + 3, path_.first(length).data(), length);
    at[length + 3] = '"';
    size_ += length + 4;
    number(rule_of(entry));
    inputs(entry, 0);
    *elements_.room(size_++, 1) = ']';
  }

  void number(std::uint32_t value) {
    char* at = elements_.room(size_, kRoom);
    *at = ',';
    size_ += static_cast<std::size_t>(std::to_chars(at + 1, at + kRoom, value).ptr - at);
  }

  std::uint32_t rule_of(const LineageEntry& entry) {
    // A rule's name is one object of the compiled program, so its address stands for the rule.
    const auto known = rules_.find(entry.rule);
    return known != rules_.end() ? known->second : new_rule(entry);
  }

  // Out of line, because it reads the texts, which the rest need not fetch.
  [[gnu::noinline]] std::uint32_t new_rule(const LineageEntry& entry) {
    rule_rows_ += ",[";
    json::write_string(entry.place, rule_rows_);
    rule_rows_.push_back(',');
    json::write_string(entry.rule, rule_rows_);
    rule_rows_.push_back(']');
    const auto number = static_cast<std::uint32_t>(rules_.size());
    rules_.emplace(entry.rule, number);
    return number;
  }

  // An input that is itself output stands for what it was made from.
  void inputs(const LineageEntry& entry, int depth) {
    constexpr int kHopsMax = 8;
    for (std::uint32_t i = 0; i < entry.input_count; ++i) {
      const json::Node* input = inputs_[entry.first_input + i];
      const Origin origin = origin_of(*input);
      if (origin.number != kNone) {
        number(origin.number);
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
      input_rows_ += ",\"";
      input_rows_ += input_text(input);
      input_rows_.push_back('"');
    }
    origins_.push_back(origin);
    return origin;
  }

  // The pointer of a node of a source document, escaped for a JSON string. Inputs lie close
  // together, so what is above them is put together once.
  const std::string& input_text(const json::Node& node) {
    const auto fresh = static_cast<std::uint32_t>(texts_.size());
    const std::uint32_t known = input_texts_.add(&node, fresh);
    if (known != fresh) {
      return texts_[known];
    }
    std::string& text = texts_.emplace_back();
    if (node.parent == nullptr) {
      return text;
    }
    text = input_text(*node.parent);
    text.push_back('/');
    if (node.parent->is_object()) {
      text += token(*node.name);
      return text;
    }
    std::uint32_t index = 0;
    for (const json::Node* item = node.parent->first; item != &node; item = item->next) {
      ++index;
    }
    text += std::to_string(index);
    return text;
  }

  const json::Node& root_;
  std::string& out_;
  std::vector<LineageEntry> lineage_;
  std::vector<const json::Node*> inputs_;
  Text path_ = Text(kRoom);
  std::string rule_rows_;
  std::string input_rows_;
  Text elements_;
  std::size_t size_ = 0;  // of elements_
  NodeTable entries_;
  NodeFilter has_entry_;
  NodeTable known_inputs_;
  std::vector<Origin> origins_;
  std::uint32_t input_count_ = 0;
  NodeTable input_texts_;
  std::deque<std::string> texts_;
  std::unordered_map<const char*, std::uint32_t> rules_;
  static constexpr std::size_t kPlain = 256;
  std::array<const json::Name*, kPlain> plain_ = {};
  std::string token_;
};

}  // namespace

void write_lineage(std::span<const Run* const> runs, const json::Node& root, std::string& out) {
  LineageWriter(runs, root, out).write();
}

void write_lineage(const Run& run, const json::Node& root, std::string& out) {
  const Run* const runs[] = {&run};
  write_lineage(runs, root, out);
}

}  // namespace engine::mapping
