#include "sandbox/record_server/target.h"

#include "engine/base/utf8.h"
#include "sandbox/record_server/message.h"

namespace sandbox::record_server {
namespace {

int hex_value(char c) {
  if (c >= '0' && c <= '9') {
    return c - '0';
  }
  if (c >= 'a' && c <= 'f') {
    return c - 'a' + 10;
  }
  return c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

std::string percent_decode(std::string_view text, bool plus_is_space) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '%') {
      const int high = i + 2 < text.size() ? hex_value(text[i + 1]) : -1;
      const int low = i + 2 < text.size() ? hex_value(text[i + 2]) : -1;
      if (high < 0 || low < 0) {
        throw Refusal(400, "invalid", "The request target holds a broken percent escape.");
      }
      out += static_cast<char>(high * 16 + low);
      i += 2;
    } else {
      out += plus_is_space && text[i] == '+' ? ' ' : text[i];
    }
  }
  if (engine::base::find_invalid_utf8(out)) {
    throw Refusal(400, "invalid", "The request target is not UTF-8.");
  }
  return out;
}

}  // namespace

Parameters parse_query(std::string_view text) {
  Parameters parameters;
  while (!text.empty()) {
    const std::size_t end = text.find('&');
    const std::string_view pair = text.substr(0, end);
    text = end == std::string_view::npos ? std::string_view() : text.substr(end + 1);
    if (pair.empty()) {
      continue;
    }
    const std::size_t equals = pair.find('=');
    const std::string_view value =
        equals == std::string_view::npos ? std::string_view() : pair.substr(equals + 1);
    parameters.emplace_back(percent_decode(pair.substr(0, equals), true),
                            percent_decode(value, true));
  }
  return parameters;
}

Target parse_target(std::string_view text) {
  Target target;
  const std::size_t question = text.find('?');
  std::string_view path = text.substr(0, question);
  if (question != std::string_view::npos) {
    target.parameters = parse_query(text.substr(question + 1));
  }
  while (!path.empty()) {
    const std::size_t end = path.find('/');
    if (end != 0) {
      target.segments.push_back(percent_decode(path.substr(0, end), false));
    }
    path = end == std::string_view::npos ? std::string_view() : path.substr(end + 1);
  }
  return target;
}

std::string percent_encode(std::string_view text) {
  static constexpr char kHex[] = "0123456789ABCDEF";
  std::string out;
  for (const char c : text) {
    const bool plain = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                       c == '-' || c == '.' || c == '_' || c == '~';
    if (plain) {
      out += c;
    } else {
      const auto byte = static_cast<unsigned char>(c);
      out += {'%', kHex[byte >> 4], kHex[byte & 15]};
    }
  }
  return out;
}

std::string to_query(const Parameters& parameters) {
  std::string out;
  for (const auto& [name, value] : parameters) {
    out += (out.empty() ? "" : "&") + percent_encode(name) + '=' + percent_encode(value);
  }
  return out;
}

}  // namespace sandbox::record_server
