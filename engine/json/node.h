#pragma once
// The exact JSON tree: numbers keep their text, members keep their order, names are interned.
// A Document owns the arena its nodes live in; nodes, names and string_views borrow from it and
// from the NameTable it was parsed with, so both must outlive every node. A document that nobody
// mutates may be read from many threads.

#include <cstdint>
#include <string_view>

namespace engine::json {

// An interned member name. Two nodes of one document have the same name exactly when the pointers
// are equal; a name known to the NameTable is the same pointer in every document parsed with it.
struct Name {
  std::string_view text;
  std::uint32_t id;  // index in the NameTable; kLocalName for a name only this document knows
  bool plain;        // stands as it is in a JSON string and as a step of a JSON Pointer
};
inline constexpr std::uint32_t kLocalName = 0xFFFFFFFF;

enum class Kind : std::uint8_t { kNull, kBoolean, kNumber, kString, kArray, kObject };

struct Node {
  const Name* name = nullptr;  // the member's name; nullptr for an array's item and for a root
  Node* parent = nullptr;
  Node* first = nullptr;  // children in document order
  Node* last = nullptr;
  Node* next = nullptr;  // next sibling
  const char* data = nullptr;
  std::uint32_t length = 0;  // bytes of text()
  std::uint32_t count = 0;   // children
  std::uint32_t offset = 0;  // byte offset in the text it was parsed from; kNoOffset when built
  Kind kind = Kind::kNull;
  bool boolean = false;

  // Strings: unescaped UTF-8. Numbers: the text as written. Otherwise empty.
  std::string_view text() const { return {data, length}; }
  std::string_view name_text() const { return name != nullptr ? name->text : std::string_view(); }

  bool is_object() const { return kind == Kind::kObject; }
  bool is_array() const { return kind == Kind::kArray; }
  bool is_string() const { return kind == Kind::kString; }
  bool is_number() const { return kind == Kind::kNumber; }
  bool is_boolean() const { return kind == Kind::kBoolean; }
  bool is_null() const { return kind == Kind::kNull; }

  // The member of an object by name; nullptr when absent or when this is no object. Linear in the
  // members.
  const Node* find(const Name* wanted) const {
    if (kind == Kind::kObject) {
      for (const Node* child = first; child != nullptr; child = child->next) {
        if (child->name == wanted) {
          return child;
        }
      }
    }
    return nullptr;
  }
  const Node* find(std::string_view wanted) const {
    if (kind == Kind::kObject) {
      for (const Node* child = first; child != nullptr; child = child->next) {
        if (child->name->text == wanted) {
          return child;
        }
      }
    }
    return nullptr;
  }
  Node* find(std::string_view wanted) {
    return const_cast<Node*>(static_cast<const Node*>(this)->find(wanted));
  }
  // The text of a string member; empty when absent or not a string.
  std::string_view string_at(std::string_view wanted) const {
    const Node* member = find(wanted);
    return member != nullptr && member->is_string() ? member->text() : std::string_view();
  }

  // for (const Node& child : node) walks an array's items or an object's members.
  struct Iterator {
    const Node* at;
    const Node& operator*() const { return *at; }
    const Node* operator->() const { return at; }
    Iterator& operator++() {
      at = at->next;
      return *this;
    }
    bool operator!=(const Iterator& other) const { return at != other.at; }
  };
  Iterator begin() const { return {first}; }
  Iterator end() const { return {nullptr}; }
};
inline constexpr std::uint32_t kNoOffset = 0xFFFFFFFF;

}  // namespace engine::json
