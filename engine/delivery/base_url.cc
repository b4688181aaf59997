#include <algorithm>
#include <charconv>
#include <utility>

#include "engine/base/limits.h"
#include "engine/delivery/http_peer.h"

namespace engine::delivery {
namespace {

base::Error bad(const char* why, std::string_view text) {
  return {base::ErrorCode::kInvalid, std::string("the record server's address ") + why,
          std::string(text)};
}

}  // namespace

std::string BaseUrl::authority() const {
  const bool six = host.find(':') != std::string::npos;
  std::string out = six ? "[" + host + "]" : host;
  const std::uint16_t usual = tls ? 443 : 80;
  return port == usual ? out : out + ":" + std::to_string(port);
}

// A name that begins with "127." may be anybody's.
bool is_this_machine(std::string_view host) {
  const bool numeric = host.find_first_not_of("0123456789.") == std::string_view::npos;
  return host == "::1" || host == "localhost" || (numeric && host.starts_with("127."));
}

base::Result<BaseUrl> parse_base_url(std::string_view text) {
  BaseUrl url;
  std::string_view rest = text;
  if (rest.substr(0, 7) == "http://") {
    rest.remove_prefix(7);
  } else if (rest.substr(0, 8) == "https://") {
    rest.remove_prefix(8);
    url.tls = true;
    url.port = 443;
  } else {
    return bad("must begin with http:// or https://", text);
  }
  const bool strange = std::any_of(rest.begin(), rest.end(), [](char c) {
    return c <= ' ' || c == '?' || c == '#' || c == '@' || static_cast<unsigned char>(c) >= 0x7F;
  });
  if (strange) {
    return bad("may hold host, port and path only", text);
  }
  const std::size_t slash = std::min(rest.find('/'), rest.size());
  std::string_view authority = rest.substr(0, slash);
  url.path = std::string(rest.substr(slash));
  while (!url.path.empty() && url.path.back() == '/') {
    url.path.pop_back();
  }
  std::size_t colon = authority.rfind(':');
  if (!authority.empty() && authority.front() == '[') {
    const std::size_t end = authority.find(']');
    if (end == std::string_view::npos) {
      return bad("has a bracket that does not close", text);
    }
    url.host = std::string(authority.substr(1, end - 1));
    colon = end + 1 < authority.size() ? end + 1 : std::string_view::npos;
  } else {
    url.host = std::string(authority.substr(0, colon));
  }
  if (colon != std::string_view::npos) {
    const std::string_view digits = authority.substr(colon + 1);
    const auto [end, error] =
        std::from_chars(digits.data(), digits.data() + digits.size(), url.port);
    if (authority[colon] != ':' || error != std::errc() || end != digits.data() + digits.size() ||
        url.port == 0) {
      return bad("has a port that is none", text);
    }
  }
  if (url.host.empty()) {
    return bad("names no host", text);
  }
  return url;
}

PeerConfig::PeerConfig(BaseUrl u)
    : url(std::move(u)),
      connect_timeout(base::limits::kConnectTimeout),
      answer_timeout(base::limits::kAnswerTimeout) {}

}  // namespace engine::delivery
