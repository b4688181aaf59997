// The routes of signing in: in, out, who am I.

#include <chrono>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "engine/base/limits.h"
#include "engine/intake/intake.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/people/secrets.h"
#include "engine/web/api.h"
#include "engine/web/problem.h"
#include "engine/web/who_may.h"

namespace engine::web {
namespace {

using Verdict = people::Gate::Outcome::Verdict;

constexpr const char* kJson = "application/json";

std::string cookie_of(const std::string& secret, std::chrono::seconds age) {
  return std::string(kSignInCookie) + "=" + secret + "; Max-Age=" + std::to_string(age.count()) +
         "; Path=/; Secure; HttpOnly; SameSite=Strict";
}

std::string literal(std::string_view text) {
  std::string out;
  json::write_string(text, out);
  return out;
}

// `key`: of this person's devices; empty for a system, which keeps nothing in a browser.
std::string view_of(const people::Entry& entry, const std::string& key) {
  std::string roles;
  for (const people::Role role : entry.roles.list()) {
    roles.append(roles.empty() ? "" : ",").append(literal(people::name_of(role)));
  }
  std::string rights;
  for (const people::Right right : people::rights_of(entry.roles)) {
    rights.append(rights.empty() ? "" : ",").append(literal(people::name_of(right)));
  }
  std::string out = "{\"signIn\":true,\"name\":" + literal(entry.name) +
                    ",\"display\":" + literal(entry.display) + ",\"roles\":[" + roles +
                    "],\"may\":[" + rights + "]";
  if (!key.empty()) {
    out += ",\"deviceKey\":\"" + key +
           "\",\"lasts\":" + std::to_string(base::limits::kSignInLifetime.count());
  }
  return out + "}";
}

// What the pages seal with that which waits on a device of this person (docs/decisions/0018). It is
// the same after another password and on every engine that shares the journal.
std::string device_key(const journal::SearchKey& key, const people::Entry& entry) {
  return entry.system ? std::string() : key.derive("device key 1", entry.name);
}

Response no_sign_in() {
  return problem(404, "not-found", "this engine has no people file, and so no sign-in");
}

// What is journalled of it. A name that is nobody's is not: it may be a password in the wrong
// field. Tries that were not compared are not either; they are as many as somebody cares to send.
std::optional<journal::Record> record_of(const people::Gate::Outcome& outcome) {
  journal::Record record;
  if (outcome.verdict == Verdict::kIn) {
    record.kind = journal::Kind::kSignedIn;
    record.actor = outcome.person.actor();
    return record;
  }
  if (outcome.verdict == Verdict::kWrong) {
    record.kind = journal::Kind::kNotLetIn;
    const bool known = !outcome.person.name.empty();
    record.actor = known ? outcome.person.actor() : std::string();
    record.reason = known ? "wrong-password" : "unknown-name";
    return record;
  }
  return std::nullopt;
}

Response answer_of(const people::Gate::Outcome& outcome, const journal::SearchKey& key) {
  switch (outcome.verdict) {
    case Verdict::kIn: {
      Response response(200, kJson, view_of(outcome.person, device_key(key, outcome.person)));
      response.set("Set-Cookie", cookie_of(outcome.secret, base::limits::kSignInLifetime));
      return response;
    }
    case Verdict::kWrong: {
      Response response = problem(401, "login", "this name and password do not go together");
      response.set("WWW-Authenticate", "Bearer realm=\"chartferry\"");
      return response;
    }
    case Verdict::kTooMany: {
      Response response(429, "application/fhir+json",
                        intake::problem_text("throttled",
                                             "too many wrong passwords; wait, or ask who looks "
                                             "after the engine"));
      response.set("Retry-After", std::to_string(outcome.wait.count()));
      return response;
    }
    case Verdict::kBusy:
      break;
  }
  return problem(503, "transient", "too many are signing in just now; try again in a moment");
}

}  // namespace

void Api::post_sign_in(Request& request, const Segments&, const Answer& answer) {
  people::Gate* const gate = who_may_.gate();
  if (gate == nullptr) {
    answer(no_sign_in());
    return;
  }
  if (!is_same_origin(request)) {
    answer(problem(403, "forbidden", "sign in from the engine's own page"));
    return;
  }
  if (request.body.size() > base::limits::kSignInBodyBytesMax) {
    answer(problem(413, "too-long", "a name and a password are shorter than this"));
    return;
  }
  static const json::NameTable names;
  json::Document document(names);
  const bool read = document.parse(request.body).has_value() && document.root()->is_object();
  people::Gate::Attempt attempt;
  if (read) {
    attempt.name = document.root()->string_at("name");
    attempt.password = document.root()->string_at("password");
    attempt.address = request.peer;
  }
  people::wipe(request.body);
  if (attempt.name.empty() || attempt.password.empty()) {
    answer(problem(400, "structure", "send {\"name\", \"password\"}"));
    return;
  }
  gate->sign_in(std::move(attempt), [answer, &key = world_.search_key,
                                     &journal = world_.journal](const people::Gate::Outcome& told) {
    const auto record = record_of(told);
    if (!record) {
      answer(answer_of(told, key));
      return;
    }
    // Whoever is let in is on record before.
    const bool taken =
        journal.submit(journal::Change(*record),
                       [answer, &key, told](const base::Result<journal::Outcome>& noted) {
                         answer(noted ? answer_of(told, key) : from_error(noted.error()));
                       });
    if (!taken) {
      answer(answer_of(people::Gate::Outcome(), key));
    }
  });
}

void Api::post_sign_out(Request& request, const Segments&, const Answer& answer) {
  if (who_may_.gate() == nullptr) {
    answer(no_sign_in());
    return;
  }
  if (const auto person = who_may_.gate()->signed_in(sign_in_secret(request))) {
    journal::Record record;
    record.kind = journal::Kind::kSignedOut;
    record.actor = person->actor();
    // Nobody is kept signed in because it cannot be noted.
    static_cast<void>(world_.journal.submit(journal::Change(record), {}));
  }
  who_may_.gate()->sign_out(sign_in_secret(request));
  Response response(204, kJson, "");
  response.set("Set-Cookie", cookie_of("", std::chrono::seconds(0)));
  answer(std::move(response));
}

// Open to strangers, so that a page knows whether to ask for a password.
void Api::get_me(Request& request, const Segments&, const Answer& answer) {
  if (who_may_.gate() == nullptr) {
    answer(Response(200, kJson, R"({"signIn":false})"));
    return;
  }
  const std::optional<people::Entry> caller = who_may_.caller(request);
  answer(Response(200, kJson,
                  caller ? view_of(*caller, device_key(world_.search_key, *caller))
                         : std::string(R"({"signIn":true})")));
}

}  // namespace engine::web
