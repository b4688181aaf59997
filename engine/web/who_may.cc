#include "engine/web/who_may.h"

#include <algorithm>
#include <utility>

#include "engine/base/limits.h"
#include "engine/base/utf8.h"
#include "engine/journal/words.h"
#include "engine/web/problem.h"

namespace engine::web {
namespace {

constexpr std::string_view kBearer = "Bearer ";

Response who_are_you(std::string text) {
  Response response = problem(401, "login", std::move(text));
  // Browsers show no form of their own for this scheme (RFC 6750).
  response.set("WWW-Authenticate", "Bearer realm=\"chartferry\"");
  return response;
}

bool is_reading(const Request& request) {
  return request.method == "GET" || request.method == "HEAD";
}

bool same_text(std::string_view a, std::string_view b) {
  const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? c - 'A' + 'a' : c; };
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [&](char x, char y) { return lower(x) == lower(y); });
}

// RFC 6454: "https://host:port"; what follows the scheme is what the Host header says.
bool is_own(std::string_view origin, std::string_view host) {
  const std::size_t mark = origin.find("://");
  return mark != std::string_view::npos && !host.empty() &&
         same_text(origin.substr(mark + 3), host);
}

// Who treats reads for that; not what another of their roles lets them read.
bool treats_by(const people::Roles& roles, people::Right right) {
  people::Roles treating;
  treating.add(people::Role::kTherapist);
  return roles.has(people::Role::kTherapist) && people::may(treating, right);
}

// Percent-encoded UTF-8 in one line: headers carry ASCII only.
std::optional<Response> take_why(Request& request) {
  const std::string_view given = request.header(kReadWhy);
  request.why = decode_path(given);
  if (base::is_one_line(request.why) && request.why.size() <= base::limits::kReadWhyBytesMax) {
    return std::nullopt;
  }
  return problem(400, "value",
                 "Read-Why says in one line why you read: percent-encoded UTF-8, at most " +
                     std::to_string(base::limits::kReadWhyBytesMax) + " bytes");
}

}  // namespace

std::string_view sign_in_secret(const Request& request) {
  std::string_view rest = request.header("cookie");
  while (!rest.empty()) {
    const std::size_t end = std::min(rest.find(';'), rest.size());
    std::string_view one = rest.substr(0, end);
    rest.remove_prefix(std::min(end + 1, rest.size()));
    one.remove_prefix(std::min(one.find_first_not_of(' '), one.size()));
    if (one.starts_with(kSignInCookie) && one.substr(kSignInCookie.size()).starts_with('=')) {
      return one.substr(kSignInCookie.size() + 1);
    }
  }
  return {};
}

std::string actor_of(const Request& request, const json::Node& body) {
  return request.caller.empty() ? std::string(body.string_at("actor")) : request.caller;
}

bool is_same_origin(const Request& request) {
  const std::string_view origin = request.header("origin");
  const std::string_view site = request.header("sec-fetch-site");
  return (origin.empty() || is_own(origin, request.header("host"))) &&
         (site.empty() || site == "same-origin" || site == "none");
}

std::optional<people::Entry> WhoMay::caller(const Request& request) const {
  if (gate_ == nullptr) {
    return std::nullopt;
  }
  const std::string_view authorization = request.header("authorization");
  if (authorization.empty()) {
    return gate_->signed_in(sign_in_secret(request));
  }
  return same_text(authorization.substr(0, kBearer.size()), kBearer)
             ? gate_->system(authorization.substr(kBearer.size()))
             : std::nullopt;
}

std::function<bool()> WhoMay::watch(const Request& request, people::Right right) const {
  if (gate_ == nullptr) {
    return {};
  }
  const std::string_view authorization = request.header("authorization");
  const bool by_cookie = authorization.empty();
  const std::string secret(
      by_cookie ? sign_in_secret(request)
                : authorization.substr(std::min(kBearer.size(), authorization.size())));
  return [gate = gate_, by_cookie, secret, right] {
    const auto one =
        by_cookie ? gate->signed_in(secret, people::Gate::Use::kLook) : gate->system(secret);
    return one && people::may(one->roles, right);
  };
}

std::optional<Response> WhoMay::refuse(Request& request, people::Right right) const {
  if (auto bad = take_why(request)) {
    return bad;
  }
  if (gate_ == nullptr || right == people::Right::kOpen) {
    return std::nullopt;
  }
  const bool by_cookie = request.header("authorization").empty();
  const std::optional<people::Entry> one = caller(request);
  if (!one) {
    return who_are_you(
        by_cookie ? "sign in first (POST /sign-in); a sign-in ends after a while"
                  : "this token is not known here (any more): 'Authorization: Bearer TOKEN'");
  }
  // Only pages send cookies, and browsers say of every change which page asks for it.
  const bool told = !request.header("origin").empty() || !request.header("sec-fetch-site").empty();
  if (by_cookie && !is_reading(request) && !(told && is_same_origin(request))) {
    return problem(403, "forbidden",
                   "with a cookie only the engine's own pages may change anything: the Origin "
                   "header has to name this server");
  }
  if (!people::may(one->roles, right)) {
    return problem(403, "forbidden",
                   "not with your role (" + one->roles.text() +
                       "); it takes one of: " + people::roles_with(right));
  }
  if (people::reads_patients(right) && !treats_by(one->roles, right) &&
      !journal::says_something(request.why)) {
    return problem(400, "required",
                   "say why you read this: a line in the header Read-Why; it is kept");
  }
  request.caller = one->actor();
  return std::nullopt;
}

}  // namespace engine::web
