#pragma once
// The gate at the HTTP edge: who calls, by a sign-in's cookie or a system's token, whether they
// may, and why they read. docs/api.md says what a client sees of it. Without a gate everybody may
// everything; where such an engine listens is bounded by its configuration. Thread safe.

#include <functional>
#include <optional>
#include <string>
#include <string_view>

#include "engine/json/node.h"
#include "engine/people/gate.h"
#include "engine/people/roles.h"
#include "engine/web/http_message.h"

namespace engine::web {

// The headers' names and forms.
inline constexpr std::string_view kReadWhy = "Read-Why";
// A cookie of this prefix is taken by browsers only over TLS (or from this machine), for one host
// and all its paths (RFC 6265bis, 4.1.3.2).
inline constexpr std::string_view kSignInCookie = "__Host-chartferry";

class WhoMay {
 public:
  // `gate` may be null, and outlives this.
  explicit WhoMay(people::Gate* gate) : gate_(gate) {}

  people::Gate* gate() const { return gate_; }
  // Nothing when the request brings no sign-in and no token that is known, or there is no gate.
  std::optional<people::Entry> caller(const Request& request) const;
  // A refusal (400, 401, 403); or nothing, and the request's caller and why are filled in.
  std::optional<Response> refuse(Request& request, people::Right right) const;
  // Whether who called with this request may still, for an answer that goes on: their sign-in
  // stands, or their token, and their role has the right. Asking does not count as a use.
  std::function<bool()> watch(const Request& request, people::Right right) const;

 private:
  people::Gate* gate_;
};

// The secret of the sign-in that a request brings; empty when it brings none.
std::string_view sign_in_secret(const Request& request);
// Who does what a body asks for: the caller who signed in, or else whom the body names.
std::string actor_of(const Request& request, const json::Node& body);
// Sent from a page of this very server, or by no page at all.
bool is_same_origin(const Request& request);

}  // namespace engine::web
