#include "engine/json/skim.h"

#include <algorithm>

namespace engine::json {
namespace {

bool is_blank(char c) {
  return c == ' ' || c == '\n' || c == '\r' || c == '\t';
}

}  // namespace

void Skim::blank() {
  while (at_ < text_.size() && is_blank(text_[at_])) {
    ++at_;
  }
}

bool Skim::skip(char c) {
  blank();
  const bool there = at_ < text_.size() && text_[at_] == c;
  at_ += there ? 1 : 0;
  return there;
}

bool Skim::enter() {
  return skip('{') || skip('[');
}

bool Skim::next() {
  skip(',');
  if (skip('}') || skip(']')) {
    return false;
  }
  name_ = {};
  if (at_ < text_.size() && text_[at_] == '"') {
    const std::size_t end = end_of_string(at_);
    std::size_t behind = end;
    while (behind < text_.size() && is_blank(text_[behind])) {
      ++behind;
    }
    if (behind < text_.size() && text_[behind] == ':') {
      name_ = text_.substr(at_ + 1, end - at_ - 2);
      at_ = behind + 1;
    }
  }
  return at_ < text_.size();
}

std::string_view Skim::take() {
  blank();
  const std::size_t from = at_;
  std::size_t depth = 0;
  while (at_ < text_.size()) {
    const char c = text_[at_];
    if (c == '"') {
      at_ = end_of_string(at_);
    } else if (c == '{' || c == '[') {
      ++depth;
      ++at_;
      continue;
    } else if (c == '}' || c == ']') {
      if (depth == 0) {
        return {};  // no value where one should be
      }
      ++at_;
      --depth;
    } else if (depth > 0) {
      ++at_;
      continue;
    } else {
      at_ = std::min(text_.find_first_of(",]} \n\r\t", at_), text_.size());
    }
    if (depth == 0) {
      return text_.substr(from, at_ - from);
    }
  }
  return {};
}

// Behind the quotation mark that ends the string beginning at `at`, or the text's end.
std::size_t Skim::end_of_string(std::size_t at) const {
  while (true) {
    at = text_.find('"', at + 1);
    if (at == std::string_view::npos) {
      return text_.size();
    }
    std::size_t escapes = 0;
    while (text_[at - 1 - escapes] == '\\') {
      ++escapes;
    }
    if (escapes % 2 == 0) {
      return at + 1;
    }
  }
}

}  // namespace engine::json
