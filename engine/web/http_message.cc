#include "engine/web/http_message.h"

#include <algorithm>
#include <cstddef>
#include <utility>

namespace engine::web {
namespace {

char lower(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

bool same_name(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [](char x, char y) { return lower(x) == lower(y); });
}

int hex_value(char c) {
  if (c >= '0' && c <= '9') {
    return c - '0';
  }
  const char folded = lower(c);
  return folded >= 'a' && folded <= 'f' ? folded - 'a' + 10 : -1;
}

std::string decode(std::string_view text, bool plus_is_space) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '%' && i + 2 < text.size() && hex_value(text[i + 1]) >= 0 &&
        hex_value(text[i + 2]) >= 0) {
      out.push_back(static_cast<char>(hex_value(text[i + 1]) * 16 + hex_value(text[i + 2])));
      i += 2;
    } else {
      out.push_back(text[i] == '+' && plus_is_space ? ' ' : text[i]);
    }
  }
  return out;
}

}  // namespace

std::string_view Request::header(std::string_view name) const {
  for (const Header& header : headers) {
    if (same_name(header.name, name)) {
      return header.value;
    }
  }
  return {};
}

std::string_view Request::path() const {
  return std::string_view(target).substr(0, target.find('?'));
}

std::string_view Request::query() const {
  const std::size_t mark = target.find('?');
  return mark == std::string::npos ? std::string_view() : std::string_view(target).substr(mark + 1);
}

Request::Parameter Request::parameter(std::string_view name) const {
  std::string_view rest = query();
  while (!rest.empty()) {
    const std::size_t end = std::min(rest.find('&'), rest.size());
    const std::string_view pair = rest.substr(0, end);
    const std::size_t equals = std::min(pair.find('='), pair.size());
    if (decode_query(pair.substr(0, equals)) == name) {
      const std::string_view value = equals < pair.size() ? pair.substr(equals + 1) : "";
      return {true, decode_query(value)};
    }
    rest.remove_prefix(std::min(end + 1, rest.size()));
  }
  return {};
}

Response::Response(int code, std::string content_type, std::string text)
    : status(code), body(std::move(text)) {
  set("Content-Type", std::move(content_type));
}

void Response::set(std::string name, std::string value) {
  headers.push_back({std::move(name), std::move(value)});
}

std::string decode_query(std::string_view text) {
  return decode(text, true);
}
std::string decode_path(std::string_view text) {
  return decode(text, false);
}

}  // namespace engine::web
