#include "engine/mapping/escape.h"

#include <array>
#include <cstdio>

#include "engine/json/write.h"
#include "engine/mapping/lexer.h"

namespace engine::mapping {

using base::Error;
using base::ErrorCode;
using base::Result;

std::string_view first_characters(std::string_view text, std::size_t n) {
  std::size_t at = 0;
  while (at < text.size() && n > 0) {
    ++at;
    while (at < text.size() && (static_cast<unsigned char>(text[at]) & 0xC0) == 0x80) {
      ++at;
    }
    --n;
  }
  return text.substr(0, at);
}

namespace {

constexpr std::array<std::pair<char, std::string_view>, 5> kEntities = {
    {{'&', "&amp;"}, {'<', "&lt;"}, {'>', "&gt;"}, {'"', "&quot;"}, {'\'', "&#39;"}}};

enum class Form { kPlain, kMarkup, kJson, kUnknown };

Form form_named(std::string_view name) {
  if (name == "plain" || name == "text") {
    return Form::kPlain;
  }
  if (name == "html" || name == "xml") {
    return Form::kMarkup;
  }
  // The strings of both languages escape the same characters.
  return name == "json" || name == "java" ? Form::kJson : Form::kUnknown;
}

std::string markup_to_plain(std::string_view text) {
  std::string plain;
  for (std::size_t i = 0; i < text.size();) {
    bool replaced = false;
    for (const auto& [c, entity] : kEntities) {
      if (text.substr(i, entity.size()) == entity) {
        plain.push_back(c);
        i += entity.size();
        replaced = true;
        break;
      }
    }
    if (!replaced && text.substr(i, 6) == "&apos;") {
      plain.push_back('\'');
      i += 6;
    } else if (!replaced) {
      plain.push_back(text[i++]);
    }
  }
  return plain;
}

std::string plain_to_markup(std::string_view text) {
  std::string markup;
  for (const char c : text) {
    std::string_view entity;
    for (const auto& [plain, escaped] : kEntities) {
      if (plain == c) {
        entity = escaped;
      }
    }
    if (entity.empty()) {
      markup.push_back(c);
    } else {
      markup += entity;
    }
  }
  return markup;
}

}  // namespace

Result<std::string> escape_text(std::string_view text, std::string_view from, std::string_view to) {
  const Form source = form_named(from);
  const Form target = form_named(to);
  if (source == Form::kUnknown || target == Form::kUnknown) {
    return Error(ErrorCode::kUnsupported, "escape knows plain, html, xml, json and java, not '" +
                                              std::string(source == Form::kUnknown ? from : to) +
                                              "'");
  }
  std::string plain;
  if (source == Form::kMarkup) {
    plain = markup_to_plain(text);
  } else if (source == Form::kJson) {
    for (std::size_t i = 0; i < text.size();) {
      if (text[i] == '\\') {
        unescape(text, i, plain);
      } else {
        plain.push_back(text[i++]);
      }
    }
  } else {
    plain = text;
  }
  if (target == Form::kMarkup) {
    return plain_to_markup(plain);
  }
  if (target == Form::kJson) {
    std::string quoted;
    json::write_string(plain, quoted);
    return quoted.substr(1, quoted.size() - 2);
  }
  return plain;
}

}  // namespace engine::mapping
