// The lineage written as JSON tables.

#include <charconv>
#include <cstdint>
#include <cstring>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "engine/json/write.h"
#include "engine/mapping/mapping.h"
#include "engine/mapping/node_table.h"

namespace engine::mapping {

namespace {

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

// Text that grows at its end, or from a place before it. What was not written to is not set.
class Text {
 public:
  explicit Text(std::size_t bytes)
      : data_(std::make_unique_for_overwrite<char[]>(bytes)), bytes_(bytes) {}
  // Makes room for so many bytes behind `at`, and says where they begin.
  char* room(std::size_t at, std::size_t more) {
    if (bytes_ < at + more) {
      grow(at, 2 * (at + more));
    }
    return data_.get() + at;
  }
  std::string_view first(std::size_t count) const { return {data_.get(), count}; }

 private:
  void grow(std::size_t used, std::size_t bytes) {
    auto larger = std::make_unique_for_overwrite<char[]>(bytes);
    std::memcpy(larger.get(), data_.get(), used);
    data_ = std::move(larger);
    bytes_ = bytes;
  }

  std::unique_ptr<char[]> data_;
  std::size_t bytes_;
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
        known_sources_(lineage_.size() / 2) {
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

  // What is known of a node that was an input, or that has one below it.
  struct Source {
    // As an input it is a place in a source document, or comes from the entry that made it when it
    // is output itself; neither for output that nothing is known of.
    bool asked = false;
    std::uint32_t number = kNone;  // among "inputs"
    const LineageEntry* made_by = nullptr;
    // Its pointer, escaped for a JSON string, in pointers_.
    std::size_t at = 0;
    std::uint32_t length = kNone;
  };

  // The entries of all runs, which name their inputs by where those stand in joined_inputs().
  static std::vector<LineageEntry> joined(std::span<const Run* const> runs) {
    std::size_t count = 0;
    for (const Run* run : runs) {
      count += run->lineage().size();
    }
    std::vector<LineageEntry> out;
    out.reserve(count);
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
    std::size_t count = 0;
    for (const Run* run : runs) {
      count += run->inputs().size();
    }
    std::vector<const json::Node*> out;
    out.reserve(count);
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
      std::size_t step = 1;
      if (node.is_array()) {
        char* at = path_.room(length, kRoom);
        *at++ = '/';
        step += static_cast<std::size_t>(std::to_chars(at, at + kRoom - 1, index++).ptr - at);
      } else {
        const std::string_view name = token(*child.name);
        char* at = path_.room(length, 1 + name.size());
        *at++ = '/';
        std::memcpy(at, name.data(), name.size());
        step += name.size();
      }
      visit(child, length + step);
    }
  }

  std::string_view token(const json::Name& name) {
    if (name.plain) {
      return name.text;
    }
    token_ = token_of(name.text);
    return token_;
  }

  void element(const LineageEntry& entry, std::size_t length) {
    char* at = elements_.room(size_, length + kRoom);
    std::memcpy(at, ",[\"", 3);
    std::memcpy(at + 3, path_.first(length).data(), length);
    at[length + 3] = '"';
    size_ += length + 4;
    number(rule_of(*entry.rule));
    inputs(entry, 0);
    *elements_.room(size_++, 1) = ']';
  }

  void number(std::uint32_t value) {
    char* at = elements_.room(size_, kRoom);
    *at = ',';
    size_ += static_cast<std::size_t>(std::to_chars(at + 1, at + kRoom, value).ptr - at);
  }

  std::uint32_t rule_of(const RuleLabel& rule) {
    if (rule.number >= rules_.size()) {
      rules_.resize(rule.number + 1, kNone);
    }
    std::uint32_t& known = rules_[rule.number];
    if (known == kNone) {
      known = rule_count_++;
      rule_rows_.push_back(',');
      rule_rows_ += rule.row;
    }
    return known;
  }

  // An input that is itself output stands for what it was made from.
  void inputs(const LineageEntry& entry, int depth) {
    constexpr int kHopsMax = 8;
    for (std::uint32_t i = 0; i < entry.input_count; ++i) {
      const Source& source = source_of(*inputs_[entry.first_input + i]);
      if (source.number != kNone) {
        number(source.number);
      } else if (source.made_by != nullptr && source.made_by != &entry && depth < kHopsMax) {
        inputs(*source.made_by, depth + 1);
      }
    }
  }

  // The number of a node in sources_.
  std::uint32_t known_source(const json::Node& node) {
    const auto fresh = static_cast<std::uint32_t>(sources_.size());
    const std::uint32_t known = known_sources_.add(&node, fresh);
    if (known == fresh) {
      sources_.emplace_back();
    }
    return known;
  }

  // Valid until the next call.
  const Source& source_of(const json::Node& input) {
    if (&input != last_input_) {  // what a rule makes, it mostly makes of one input
      last_input_ = &input;
      last_source_ = known_source(input);
    }
    const std::uint32_t known = last_source_;
    if (sources_[known].asked) {
      return sources_[known];
    }
    sources_[known].asked = true;
    const LineageEntry* made_by = nullptr;
    const json::Node* top = &input;
    while (true) {
      made_by = made_by != nullptr ? made_by : entry_of(top);
      if (top->parent == nullptr) {
        break;
      }
      top = top->parent;
    }
    if (top != &root_ && made_by == nullptr) {
      put_together(input, known);
      sources_[known].number = input_count_++;
      input_rows_ += ",\"";
      input_rows_ += pointer_at(known);
      input_rows_.push_back('"');
    }
    sources_[known].made_by = made_by;
    return sources_[known];
  }

  std::string_view pointer_at(std::uint32_t source) const {
    return std::string_view(pointers_).substr(sources_[source].at, sources_[source].length);
  }

  // Makes the pointer of a node of a source document. Inputs lie close together, so what is above
  // them is put together once.
  void put_together(const json::Node& node, std::uint32_t source) {
    if (sources_[source].length != kNone) {
      return;
    }
    std::size_t at = pointers_.size();
    if (node.parent != nullptr) {
      const std::uint32_t above = known_source(*node.parent);
      put_together(*node.parent, above);
      at = pointers_.size();
      pointers_.append(pointers_, sources_[above].at, sources_[above].length);
      pointers_.push_back('/');
      if (node.parent->is_object()) {
        pointers_ += token(*node.name);
      } else {
        std::uint32_t index = 0;
        for (const json::Node* item = node.parent->first; item != &node; item = item->next) {
          ++index;
        }
        pointers_ += std::to_string(index);
      }
    }
    sources_[source].at = at;
    sources_[source].length = static_cast<std::uint32_t>(pointers_.size() - at);
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
  NodeTable known_sources_;
  std::vector<Source> sources_;
  const json::Node* last_input_ = nullptr;
  std::uint32_t last_source_ = 0;
  std::string pointers_;
  std::uint32_t input_count_ = 0;
  std::vector<std::uint32_t> rules_;  // by RuleLabel::number: among "rules"
  std::uint32_t rule_count_ = 0;
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
