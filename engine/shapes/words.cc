#include "engine/shapes/words.h"

namespace engine::shapes {

void append_line_text(std::string_view text, std::string& out) {
  for (const char c : text) {
    out += c == '\n' || c == '\r' || c == '\t' ? ' ' : c;
  }
}

void append_without_spaces(std::string_view text, std::string& out) {
  for (const char c : text) {
    if (c != ' ' && c != '\n' && c != '\r' && c != '\t') {
      out += c;
    }
  }
}

}  // namespace engine::shapes
