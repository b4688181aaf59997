// Run's public face, and the lineage as JSON.

#include <unordered_map>
#include <utility>

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

void append_token(std::string_view name, std::string& out) {
  for (const char c : name) {
    if (c == '~') {
      out += "~0";
    } else if (c == '/') {
      out += "~1";
    } else {
      out.push_back(c);
    }
  }
}

// Walks the output once with the pointer of the place it is at, so that no pointer is built from
// the root for each of some thousand entries.
class LineageWriter {
 public:
  LineageWriter(const Run& run, const json::Node& root, std::string& out)
      : run_(run), root_(root), out_(out) {
    entries_.reserve(run.lineage().size());
    for (const LineageEntry& entry : run.lineage()) {
      entries_.try_emplace(entry.output, &entry);
    }
  }

  void write() {
    out_.push_back('[');
    visit(root_);
    out_.push_back(']');
  }

 private:
  void visit(const json::Node& node) {
    const auto at = entries_.find(&node);
    if (at != entries_.end()) {
      entry(*at->second);
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
    out_ += first_ ? "{\"output\":" : ",{\"output\":";
    first_ = false;
    json::write_string(path_, out_);
    out_ += ",\"rule\":";
    json::write_string(entry.place, out_);
    out_ += ",\"name\":";
    json::write_string(entry.rule, out_);
    out_ += ",\"inputs\":[";
    bool first = true;
    inputs(entry, first, 0);
    out_ += "]}";
  }

  // An input that is itself output stands for what it was made from.
  void inputs(const LineageEntry& entry, bool& first, int depth) {
    constexpr int kHopsMax = 8;
    for (const json::Node* input : run_.inputs_of(entry)) {
      const json::Node* top = input;
      const LineageEntry* made_by = nullptr;
      while (true) {
        const auto at = made_by == nullptr ? entries_.find(top) : entries_.end();
        made_by = at != entries_.end() ? at->second : made_by;
        if (top->parent == nullptr) {
          break;
        }
        top = top->parent;
      }
      if (top == &root_ || made_by != nullptr) {
        if (made_by != nullptr && made_by != &entry && depth < kHopsMax) {
          inputs(*made_by, first, depth + 1);
        }
        continue;
      }
      out_ += first ? "" : ",";
      first = false;
      json::write_string(pointer_of(*input), out_);
    }
  }

  const std::string& pointer_of(const json::Node& input) {
    const auto [at, fresh] = pointers_.try_emplace(&input);
    if (fresh) {
      at->second = json::pointer_of(input);
    }
    return at->second;
  }

  const Run& run_;
  const json::Node& root_;
  std::string& out_;
  std::string path_;
  bool first_ = true;
  std::unordered_map<const json::Node*, const LineageEntry*> entries_;
  std::unordered_map<const json::Node*, std::string> pointers_;
};

}  // namespace

void write_lineage(const Run& run, const json::Node& root, std::string& out) {
  LineageWriter(run, root, out).write();
}

}  // namespace engine::mapping
