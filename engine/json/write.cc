#include "engine/json/write.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstdint>
#include <cstring>
#include <vector>

#include "engine/base/hash.h"

namespace engine::json {
namespace {

void write_scalar(const Node& node, std::string& out) {
  switch (node.kind) {
    case Kind::kNull:
      out += "null";
      break;
    case Kind::kBoolean:
      out += node.boolean ? "true" : "false";
      break;
    case Kind::kNumber:
      out += node.text();
      break;
    case Kind::kString:
      write_string(node.text(), out);
      break;
    case Kind::kArray:
    case Kind::kObject:
      break;
  }
}

void write_pretty(const Node& node, std::size_t indent, std::string& out) {
  if (!node.is_array() && !node.is_object()) {
    write_scalar(node, out);
    return;
  }
  const char open = node.is_object() ? '{' : '[';
  const char close = node.is_object() ? '}' : ']';
  out += open;
  if (node.first == nullptr) {
    out += close;
    return;
  }
  for (const Node& child : node) {
    out += '\n';
    out.append(indent + 2, ' ');
    if (node.is_object()) {
      write_string(child.name->text, out);
      out += ": ";
    }
    write_pretty(child, indent + 2, out);
    if (child.next != nullptr) {
      out += ',';
    }
  }
  out += '\n';
  out.append(indent, ' ');
  out += close;
}

// Order by UTF-16 code units. It differs from UTF-8 byte order only between U+E000..U+FFFF and the
// supplementary planes, whose surrogates sort below U+E000.
bool utf16_less(std::string_view a, std::string_view b) {
  const auto weight = [](unsigned char c) -> unsigned {
    // Lead bytes 0xF0..0xF4 (supplementary) must sort before 0xEE and 0xEF (U+E000..U+FFFF).
    if (c >= 0xF0) {
      return 0xEEU;
    }
    if (c == 0xEE || c == 0xEF) {
      return c + 8U;
    }
    return c;
  };
  const std::size_t n = std::min(a.size(), b.size());
  for (std::size_t i = 0; i < n; ++i) {
    const auto x = static_cast<unsigned char>(a[i]);
    const auto y = static_cast<unsigned char>(b[i]);
    if (x != y) {
      const unsigned wx = weight(x);
      const unsigned wy = weight(y);
      return wx != wy ? wx < wy : x < y;
    }
  }
  return a.size() < b.size();
}

constexpr std::uint64_t kOnes = 0x0101010101010101;

// Whether one of eight bytes needs an escape (below 0x20, the quotation mark, the backslash), by
// the usual borrow tricks.
bool has_special(std::uint64_t word) {
  constexpr std::uint64_t kHigh = 0x8080808080808080;
  const std::uint64_t quote = word ^ (kOnes * '"');
  const std::uint64_t slash = word ^ (kOnes * '\\');
  const std::uint64_t hit =
      ((word - kOnes * 0x20) & ~word) | ((quote - kOnes) & ~quote) | ((slash - kOnes) & ~slash);
  return (hit & kHigh) != 0;
}

template <class Word>
std::uint64_t load(const char* from) {
  Word word = 0;
  std::memcpy(&word, from, sizeof(Word));
  return word;
}

// Whether a text can stand between quotation marks as it is. The last step overlaps the one before;
// texts of under eight bytes are made up to eight, in whatever order.
bool is_plain(std::string_view text) {
  const std::size_t size = text.size();
  const char* const data = text.data();
  if (size >= 8) {
    for (std::size_t at = 0; at + 8 <= size; at += 8) {
      if (has_special(load<std::uint64_t>(data + at))) {
        return false;
      }
    }
    return !has_special(load<std::uint64_t>(data + size - 8));
  }
  if (size >= 4) {
    return !has_special(load<std::uint32_t>(data) | load<std::uint32_t>(data + size - 4) << 32);
  }
  constexpr std::uint64_t kBlanks = (kOnes * 0x20) << 24;
  return size == 0 || !has_special(kBlanks | load<std::uint8_t>(data) |
                                   load<std::uint8_t>(data + size / 2) << 8 |
                                   load<std::uint8_t>(data + size - 1) << 16);
}

// Where the next character that needs an escape stands, from `at` on.
std::size_t next_special(std::string_view text, std::size_t at) {
  while (at + 8 <= text.size() && !has_special(load<std::uint64_t>(text.data() + at))) {
    at += 8;
  }
  for (; at < text.size(); ++at) {
    const auto c = static_cast<unsigned char>(text[at]);
    if (c < 0x20 || c == '"' || c == '\\') {
      break;
    }
  }
  return at;
}

// Gathers small pieces before they go to the text they are for. flush() at the end is the caller's.
// What would make the text longer than it may be is left out.
class Sink {
 public:
  explicit Sink(std::string& out, std::size_t bytes_max = static_cast<std::size_t>(-1))
      : out_(out), bytes_max_(bytes_max) {}

  void put(char c) {
    make_room(1);
    buffer_[used_++] = c;
  }
  void put(std::string_view text) {
    if (text.size() > buffer_.size()) {
      flush();
      if (fits(text.size())) {
        out_ += text;
      }
      return;
    }
    make_room(text.size());
    take(text);
  }
  void put_string(std::string_view text) {
    if (text.size() + 2 > buffer_.size() || !is_plain(text)) {
      flush();
      if (fits(text.size())) {
        write_string(text, out_);
      }
      return;
    }
    make_room(text.size() + 2);
    buffer_[used_++] = '"';
    take(text);
    buffer_[used_++] = '"';
  }
  void flush() {
    if (fits(used_)) {
      out_.append(buffer_.data(), used_);
    }
    used_ = 0;
  }
  bool whole() const { return whole_ && out_.size() <= bytes_max_; }

 private:
  bool fits(std::size_t bytes) {
    whole_ = whole_ && out_.size() <= bytes_max_ && bytes <= bytes_max_ - out_.size();
    return whole_;
  }
  void make_room(std::size_t bytes) {
    if (bytes > buffer_.size() - used_) {
      flush();
    }
  }
  void take(std::string_view text) {
    if (!text.empty()) {
      std::memcpy(buffer_.data() + used_, text.data(), text.size());
      used_ += text.size();
    }
  }

  std::string& out_;
  std::size_t bytes_max_;
  bool whole_ = true;
  std::size_t used_ = 0;
  std::array<char, 4096> buffer_;  // only the first used_ bytes mean anything
};

void write_compact(const Node& node, Sink& to) {
  switch (node.kind) {
    case Kind::kObject:
      to.put('{');
      for (const Node* child = node.first; child != nullptr; child = child->next) {
        to.put_string(child->name->text);
        to.put(':');
        write_compact(*child, to);
        if (child->next != nullptr) {
          to.put(',');
        }
      }
      to.put('}');
      break;
    case Kind::kArray:
      to.put('[');
      for (const Node* child = node.first; child != nullptr; child = child->next) {
        write_compact(*child, to);
        if (child->next != nullptr) {
          to.put(',');
        }
      }
      to.put(']');
      break;
    case Kind::kString:
      to.put_string(node.text());
      break;
    case Kind::kNumber:
      to.put(node.text());
      break;
    case Kind::kBoolean:
      to.put(node.boolean ? std::string_view("true") : std::string_view("false"));
      break;
    case Kind::kNull:
      to.put(std::string_view("null"));
      break;
  }
}

// `members` is a stack: an object's own stand at its end while it is written.
void write_canonical(const Node& node, std::vector<const Node*>& members, Sink& to) {
  if (node.is_object()) {
    const std::size_t first = members.size();
    for (const Node& child : node) {
      members.push_back(&child);
    }
    std::stable_sort(
        members.begin() + static_cast<std::ptrdiff_t>(first), members.end(),
        [](const Node* a, const Node* b) { return utf16_less(a->name->text, b->name->text); });
    to.put('{');
    for (std::size_t i = first; i < first + node.count; ++i) {
      if (i != first) {
        to.put(',');
      }
      to.put_string(members[i]->name->text);
      to.put(':');
      write_canonical(*members[i], members, to);
    }
    to.put('}');
    members.resize(first);
  } else if (node.is_array()) {
    to.put('[');
    for (const Node& child : node) {
      write_canonical(child, members, to);
      if (child.next != nullptr) {
        to.put(',');
      }
    }
    to.put(']');
  } else {
    write_compact(node, to);
  }
}

}  // namespace

void write_string(std::string_view text, std::string& out) {
  static constexpr char kHex[] = "0123456789abcdef";
  if (is_plain(text)) {
    out += '"';
    out += text;
    out += '"';
    return;
  }
  out += '"';
  std::size_t start = 0;
  for (std::size_t i = next_special(text, 0); i < text.size(); i = next_special(text, start)) {
    const auto c = static_cast<unsigned char>(text[i]);
    out.append(text, start, i - start);
    start = i + 1;
    out += '\\';
    switch (c) {
      case '"':
        out += '"';
        break;
      case '\\':
        out += '\\';
        break;
      case '\b':
        out += 'b';
        break;
      case '\t':
        out += 't';
        break;
      case '\n':
        out += 'n';
        break;
      case '\f':
        out += 'f';
        break;
      case '\r':
        out += 'r';
        break;
      default:
        out += "u00";
        out += kHex[c >> 4];
        out += kHex[c & 15];
    }
  }
  out.append(text, start, text.size() - start);
  out += '"';
}

void write(const Node& node, std::string& out) {
  if (!node.is_array() && !node.is_object()) {
    write_scalar(node, out);
    return;
  }
  Sink sink(out);
  write_compact(node, sink);
  sink.flush();
}

bool write_within(const Node& node, std::size_t bytes_max, std::string& out) {
  Sink sink(out, bytes_max);
  write_compact(node, sink);
  sink.flush();
  return sink.whole();
}

std::string to_text(const Node& node) {
  std::string out;
  write(node, out);
  return out;
}

std::string to_pretty_text(const Node& node) {
  std::string out;
  write_pretty(node, 0, out);
  out += '\n';
  return out;
}

std::string to_canonical_text(const Node& node) {
  std::string out;
  std::vector<const Node*> members;
  Sink sink(out);
  write_canonical(node, members, sink);
  sink.flush();
  return out;
}

std::string canonical_hash(const Node& node) {
  return base::sha256_hex(to_canonical_text(node));
}

namespace {

// Depth is bounded as that of every tree is: by limits::kJsonDepthMax.
void append_pointer(const Node& node, std::string& out) {
  if (node.parent == nullptr) {
    return;
  }
  append_pointer(*node.parent, out);
  out.push_back('/');
  if (node.parent->is_array()) {
    std::uint32_t index = 0;
    for (const Node* item = node.parent->first; item != &node; item = item->next) {
      ++index;
    }
    char digits[12];
    out.append(digits, std::to_chars(digits, digits + sizeof digits, index).ptr);
    return;
  }
  const std::string_view name = node.name->text;
  if (name.find_first_of("~/") == std::string_view::npos) {
    out += name;
    return;
  }
  for (const char c : name) {
    if (c == '~' || c == '/') {
      out += c == '~' ? "~0" : "~1";
    } else {
      out.push_back(c);
    }
  }
}

}  // namespace

std::string pointer_of(const Node& node) {
  std::string out;
  append_pointer(node, out);
  return out;
}

bool deep_equal(const Node& a, const Node& b) {
  if (a.kind != b.kind || a.count != b.count) {
    return false;
  }
  switch (a.kind) {
    case Kind::kNull:
      return true;
    case Kind::kBoolean:
      return a.boolean == b.boolean;
    case Kind::kNumber:
    case Kind::kString:
      return a.text() == b.text();
    case Kind::kArray: {
      const Node* y = b.first;
      for (const Node* x = a.first; x != nullptr; x = x->next, y = y->next) {
        if (!deep_equal(*x, *y)) {
          return false;
        }
      }
      return true;
    }
    case Kind::kObject:
      for (const Node& x : a) {
        const Node* y = b.find(x.name->text);
        if (y == nullptr || !deep_equal(x, *y)) {
          return false;
        }
      }
      return true;
  }
  return false;
}

}  // namespace engine::json
