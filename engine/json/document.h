#pragma once
// Parsing, building and printing exact JSON (RFC 8259, with the stricter rules of FHIR JSON left to
// the checker). The parser refuses: text that is not UTF-8, nesting over limits::kJsonDepthMax,
// strings and numbers over their limits, anything after the value. Duplicate members are kept and
// listed, so that each reader can say what it thinks of them. Not thread safe while parsing or
// building.

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "engine/base/arena.h"
#include "engine/base/limits.h"
#include "engine/base/result.h"
#include "engine/json/names.h"
#include "engine/json/node.h"

namespace engine::json {

struct ParseLimits {
  std::size_t bytes_max = base::limits::kCheckedBytesMax;
  std::size_t depth_max = base::limits::kJsonDepthMax;
};

class Document {
 public:
  explicit Document(const NameTable& names)
      : names_(&names), arena_(base::limits::kDocumentArenaBytesMax) {}
  Document(Document&&) = default;
  Document& operator=(Document&&) = default;

  // Replaces the content. The text is copied; the caller's may go. Errors: kInvalid with where =
  // "line:column", kLimit likewise. Memory of the previous content is reused, so one Document can
  // serve a stream of lines.
  base::Result<void> parse(std::string_view text, const ParseLimits& limits = {});

  const Node* root() const { return root_; }
  Node* root() { return root_; }
  void set_root(Node* node) { root_ = node; }
  // Second and later members of an object with the same name, in document order.
  const std::vector<const Node*>& duplicates() const { return duplicates_; }
  const NameTable& names() const { return *names_; }
  base::Arena& arena() { return arena_; }

  // The shared name, or one that only this document knows.
  const Name* name(std::string_view text) {
    const std::uint64_t hash = NameTable::hash(text);
    const Name* const known = names_->find_hashed(text, hash);
    return known != nullptr ? known : local_name(text, hash);
  }

  // --- Building. Nodes belong to this document; append() adds at the end.
  Node* make_object() { return make(Kind::kObject); }
  Node* make_array() { return make(Kind::kArray); }
  Node* make_null() { return make(Kind::kNull); }
  Node* make_boolean(bool value);
  Node* make_string(std::string_view value);        // copied into the arena
  Node* make_number(std::string_view number_text);  // must be a JSON number; copied
  static void append(Node* array, Node* item);
  void append(Node* object, std::string_view member, Node* value) {
    append(object, name(member), value);
  }
  static void append(Node* object, const Name* member, Node* value);
  // A deep copy of a node of any document whose names come from the same NameTable.
  Node* copy(const Node& node);

 private:
  friend class TreeHandler;
  Node* make(Kind kind) {
    Node* node = arena_.make<Node>();
    node->kind = kind;
    node->offset = kNoOffset;
    return node;
  }

  const Name* local_name(std::string_view text, std::uint64_t hash);
  void clear();

  const NameTable* names_;
  base::Arena arena_;
  std::unordered_map<std::string_view, const Name*> local_names_;
  // Some of local_names_ by their hash of NameTable, which is quick and easily made to collide:
  // what is displaced here is still found there.
  std::array<const Name*, 64> recent_names_{};
  std::vector<const Node*> duplicates_;
  Node* root_ = nullptr;
};

// Line and column (both from 1; columns count Unicode scalar values) of a byte offset in a text.
struct Position {
  std::size_t line;
  std::size_t column;
};
Position locate(std::string_view text, std::size_t offset);

}  // namespace engine::json
