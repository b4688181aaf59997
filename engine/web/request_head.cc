#include "engine/web/request_head.h"

#include <algorithm>
#include <string_view>

namespace engine::web {
namespace {

bool same_text(std::string_view a, std::string_view b) {
  const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c; };
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [&](char x, char y) { return lower(x) == lower(y); });
}

// A name or an address, perhaps with a port (RFC 9110 section 7.2).
bool is_host(std::string_view text) {
  return !text.empty() && std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') ||
           std::string_view("-._~:[]%!$&'()*+;=").find(c) != std::string_view::npos;
  });
}

std::string_view without_scheme(std::string_view target) {
  for (const std::string_view scheme : {"http://", "https://"}) {
    if (same_text(target.substr(0, scheme.size()), scheme)) {
      return target.substr(scheme.size());
    }
  }
  return {};
}

}  // namespace

std::optional<std::string> place_of(const Request& head, unsigned version) {
  std::size_t hosts = 0;
  std::size_t codings = 0;
  std::size_t lengths = 0;
  bool good = version == 11 || version == 10;
  for (const Header& header : head.headers) {
    if (same_text(header.name, "host")) {
      ++hosts;
      good = good && is_host(header.value);
    } else if (same_text(header.name, "transfer-encoding")) {
      ++codings;
      good = good && version == 11 && same_text(header.value, "chunked");
    } else if (same_text(header.name, "content-length")) {
      ++lengths;
    }
  }
  if (!good || hosts > 1 || (hosts == 0 && version == 11) || codings + lengths > 1) {
    return std::nullopt;
  }
  if (head.target.starts_with('/')) {
    return head.target;
  }
  const std::string_view absolute = without_scheme(head.target);
  const std::size_t end = std::min(absolute.find_first_of("/?"), absolute.size());
  if (end == 0 || !same_text(absolute.substr(0, end), head.header("host"))) {
    return std::nullopt;
  }
  const std::string rest(absolute.substr(end));
  return rest.starts_with('/') ? rest : "/" + rest;
}

bool is_named(std::string_view host, const std::vector<std::string>& names) {
  const std::size_t end = host.starts_with('[') ? host.find(']') : host.find(':');
  const std::string_view name = host.starts_with('[') && end != std::string_view::npos
                                    ? host.substr(0, end + 1)
                                    : host.substr(0, end);
  const std::string_view port = host.substr(name.size());
  return (port.empty() || (port.starts_with(':') &&
                           port.find_first_not_of("0123456789", 1) == std::string_view::npos)) &&
         std::any_of(names.begin(), names.end(),
                     [&](const std::string& one) { return same_text(one, name); });
}

}  // namespace engine::web
