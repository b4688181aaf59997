#include "engine/json/write.h"

#include <algorithm>
#include <cstdint>
#include <cstring>
#include <vector>

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

void write_canonical(const Node& node, std::string& out) {
  if (node.is_object()) {
    std::vector<const Node*> members;
    members.reserve(node.count);
    for (const Node& child : node) {
      members.push_back(&child);
    }
    std::stable_sort(members.begin(), members.end(), [](const Node* a, const Node* b) {
      return utf16_less(a->name->text, b->name->text);
    });
    out += '{';
    for (std::size_t i = 0; i < members.size(); ++i) {
      if (i != 0) {
        out += ',';
      }
      write_string(members[i]->name->text, out);
      out += ':';
      write_canonical(*members[i], out);
    }
    out += '}';
  } else if (node.is_array()) {
    out += '[';
    for (const Node& child : node) {
      write_canonical(child, out);
      if (child.next != nullptr) {
        out += ',';
      }
    }
    out += ']';
  } else {
    write_scalar(node, out);
  }
}

// Where the next character that needs an escape stands, from `at` on; eight bytes a step (bytes
// below 0x20, the quotation mark and the backslash, found by the usual borrow tricks).
std::size_t next_special(std::string_view text, std::size_t at) {
  constexpr std::uint64_t kOnes = 0x0101010101010101;
  constexpr std::uint64_t kHigh = 0x8080808080808080;
  for (; at + 8 <= text.size(); at += 8) {
    std::uint64_t word = 0;
    std::memcpy(&word, text.data() + at, 8);
    const std::uint64_t quote = word ^ (kOnes * '"');
    const std::uint64_t slash = word ^ (kOnes * '\\');
    const std::uint64_t hit =
        ((word - kOnes * 0x20) & ~word) | ((quote - kOnes) & ~quote) | ((slash - kOnes) & ~slash);
    if ((hit & kHigh) != 0) {
      break;
    }
  }
  for (; at < text.size(); ++at) {
    const auto c = static_cast<unsigned char>(text[at]);
    if (c < 0x20 || c == '"' || c == '\\') {
      break;
    }
  }
  return at;
}

}  // namespace

void write_string(std::string_view text, std::string& out) {
  static constexpr char kHex[] = "0123456789abcdef";
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
  if (node.is_object()) {
    out += '{';
    for (const Node* child = node.first; child != nullptr; child = child->next) {
      write_string(child->name->text, out);
      out += ':';
      write(*child, out);
      if (child->next != nullptr) {
        out += ',';
      }
    }
    out += '}';
  } else if (node.is_array()) {
    out += '[';
    for (const Node* child = node.first; child != nullptr; child = child->next) {
      write(*child, out);
      if (child->next != nullptr) {
        out += ',';
      }
    }
    out += ']';
  } else {
    write_scalar(node, out);
  }
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
  write_canonical(node, out);
  return out;
}

std::string pointer_of(const Node& node) {
  std::vector<std::string> steps;
  for (const Node* at = &node; at->parent != nullptr; at = at->parent) {
    std::string step = "/";
    if (at->parent->is_array()) {
      std::size_t index = 0;
      for (const Node* item = at->parent->first; item != at; item = item->next) {
        ++index;
      }
      step += std::to_string(index);
    } else {
      for (const char c : at->name->text) {
        if (c == '~') {
          step += "~0";
        } else if (c == '/') {
          step += "~1";
        } else {
          step += c;
        }
      }
    }
    steps.push_back(std::move(step));
  }
  std::string out;
  for (auto step = steps.rbegin(); step != steps.rend(); ++step) {
    out += *step;
  }
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
