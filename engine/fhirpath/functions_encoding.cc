// encode, decode, escape, unescape. Source: FHIRPath 3.0 (standard for trial use), "Additional
// String Functions"; RFC 4648 for the base64 alphabets.

#include <array>

#include "engine/base/hash.h"
#include "engine/base/utf8.h"
#include "engine/fhirpath/function.h"
#include "engine/fhirpath/lexer.h"

namespace engine::fhirpath {
namespace {

constexpr std::string_view kBase64 =
    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
constexpr std::string_view kBase64Url =
    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

std::string encode_base64(std::string_view text, std::string_view alphabet) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); i += 3) {
    std::uint32_t bits = 0;
    const std::size_t have = std::min<std::size_t>(3, text.size() - i);
    for (std::size_t k = 0; k < 3; ++k) {
      bits = bits << 8 | (k < have ? static_cast<unsigned char>(text[i + k]) : 0U);
    }
    for (std::size_t k = 0; k < 4; ++k) {
      out.push_back(k <= have ? alphabet[bits >> (18 - 6 * k) & 63] : '=');
    }
  }
  return out;
}

std::optional<std::string> decode_base64(std::string_view text, std::string_view alphabet) {
  std::string out;
  std::uint32_t bits = 0;
  int count = 0;
  std::size_t end = text.size();
  while (end > 0 && text[end - 1] == '=' && text.size() - end < 2) {
    --end;
  }
  for (const char c : text.substr(0, end)) {
    const std::size_t value = alphabet.find(c);
    if (value == std::string_view::npos) {
      return std::nullopt;
    }
    bits = bits << 6 | static_cast<std::uint32_t>(value);
    count += 6;
    if (count >= 8) {
      count -= 8;
      out.push_back(static_cast<char>(bits >> count & 0xFF));
    }
  }
  return end % 4 == 1 ? std::nullopt : std::optional(std::move(out));
}

int hex_digit(char c) {
  if (c >= '0' && c <= '9') {
    return c - '0';
  }
  const char low = static_cast<char>(c | 0x20);
  return low >= 'a' && low <= 'f' ? low - 'a' + 10 : -1;
}

std::optional<std::string> decode_hex(std::string_view text) {
  if (text.size() % 2 != 0) {
    return std::nullopt;
  }
  std::string out;
  for (std::size_t i = 0; i < text.size(); i += 2) {
    const int high = hex_digit(text[i]);
    const int low = hex_digit(text[i + 1]);
    if (high < 0 || low < 0) {
      return std::nullopt;
    }
    out.push_back(static_cast<char>(high * 16 + low));
  }
  return out;
}

void encode(Call& call) {
  const auto text = call.string_input();
  const auto format = call.string_argument(0);
  if (!text || !format) {
    return;
  }
  if (*format == "hex") {
    call.give_string(base::to_hex(*text));
  } else if (*format == "base64" || *format == "urlbase64") {
    call.give_string(encode_base64(*text, *format == "base64" ? kBase64 : kBase64Url));
  } else {
    call.machine.fail("encode() knows 'hex', 'base64' and 'urlbase64'");
  }
}

void decode(Call& call) {
  const auto text = call.string_input();
  const auto format = call.string_argument(0);
  if (!text || !format) {
    return;
  }
  std::optional<std::string> out;
  if (*format == "hex") {
    out = decode_hex(*text);
  } else if (*format == "base64" || *format == "urlbase64") {
    out = decode_base64(*text, *format == "base64" ? kBase64 : kBase64Url);
  } else {
    call.machine.fail("decode() knows 'hex', 'base64' and 'urlbase64'");
  }
  // Bytes that are no text have no value as a string.
  if (out && !base::find_invalid_utf8(*out)) {
    call.give_string(*out);
  }
}

struct Entity {
  char character;
  std::string_view escaped;
};
constexpr std::array<Entity, 5> kEntities = {
    {{'&', "&amp;"}, {'<', "&lt;"}, {'>', "&gt;"}, {'"', "&quot;"}, {'\'', "&#39;"}}};

std::string escape_html(std::string_view text) {
  std::string out;
  for (const char c : text) {
    std::string_view escaped;
    for (const Entity& entity : kEntities) {
      if (entity.character == c) {
        escaped = entity.escaped;
      }
    }
    if (escaped.empty()) {
      out.push_back(c);
    } else {
      out.append(escaped);
    }
  }
  return out;
}

std::string unescape_html(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size();) {
    const Entity* found = nullptr;
    for (const Entity& entity : kEntities) {
      if (text.substr(i).starts_with(entity.escaped)) {
        found = &entity;
      }
    }
    if (text.substr(i).starts_with("&apos;")) {
      out.push_back('\'');
      i += 6;
    } else if (found != nullptr) {
      out.push_back(found->character);
      i += found->escaped.size();
    } else {
      out.push_back(text[i++]);
    }
  }
  return out;
}

std::string escape_json(std::string_view text) {
  std::string out;
  for (const char c : text) {
    switch (c) {
      case '"':
      case '\\':
        out.push_back('\\');
        out.push_back(c);
        break;
      case '\n':
        out.append("\\n");
        break;
      case '\r':
        out.append("\\r");
        break;
      case '\t':
        out.append("\\t");
        break;
      case '\f':
        out.append("\\f");
        break;
      case '\b':
        out.append("\\b");
        break;
      default:
        if (static_cast<unsigned char>(c) < 0x20) {
          out.append("\\u00").append(base::to_hex(std::string_view(&c, 1)));
        } else {
          out.push_back(c);
        }
    }
  }
  return out;
}

void escape(Call& call) {
  const auto text = call.string_input();
  const auto format = call.string_argument(0);
  if (!text || !format) {
    return;
  }
  if (*format != "html" && *format != "json") {
    call.machine.fail("escape() knows 'html' and 'json'");
  }
  call.give_string(*format == "html" ? escape_html(*text) : escape_json(*text));
}

void unescape_text(Call& call) {
  const auto text = call.string_input();
  const auto format = call.string_argument(0);
  if (!text || !format) {
    return;
  }
  if (*format == "html") {
    call.give_string(unescape_html(*text));
  } else if (*format == "json") {
    try {
      call.give_string(unescape(*text));
    } catch (const SyntaxError& error) {
      call.machine.fail(error.detail);
    }
  } else {
    call.machine.fail("unescape() knows 'html' and 'json'");
  }
}

constexpr Function kFunctions[] = {
    {"encode", 1, 1, Gives::kString, encode, false, false, true},
    {"decode", 1, 1, Gives::kString, decode, false, false, true},
    {"escape", 1, 1, Gives::kString, escape, false, false, true},
    {"unescape", 1, 1, Gives::kString, unescape_text, false, false, true},
};

}  // namespace

std::span<const Function> encoding_functions() {
  return kFunctions;
}

}  // namespace engine::fhirpath
