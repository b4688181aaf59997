#include "engine/web/api.h"

#include <algorithm>
#include <charconv>
#include <optional>
#include <utility>

#include "engine/base/limits.h"
#include "engine/delivery/target_desk.h"
#include "engine/journal/failure.h"
#include "engine/json/document.h"
#include "engine/web/session_view.h"
#include "engine/web/sheet_limits.h"
#include "engine/web/static_texts.h"

namespace engine::web {
namespace {

constexpr const char* kFhirJson = "application/fhir+json";
constexpr const char* kJson = "application/json";

std::vector<std::string> segments_of(std::string_view path) {
  std::vector<std::string> out;
  while (!path.empty()) {
    path.remove_prefix(1);  // '/'
    const std::size_t end = std::min(path.find('/'), path.size());
    out.push_back(decode_path(path.substr(0, end)));
    path.remove_prefix(end);
  }
  return out;
}

// JSON only: a page of another site cannot send that without asking first (CORS), and we never
// agree.
bool is_json(const Request& request) {
  const std::string_view type = request.header("content-type");
  const std::string_view name = type.substr(0, type.find(';'));
  return name == kJson || name == kFhirJson;
}

bool is_dry(const Request& request) {
  const Request::Parameter dry = request.parameter("dry-run");
  return dry.present && dry.value != "false";
}

// RFC 9110, 8.4: what a coding did to the body is not undone here.
bool is_packed(const Request& request) {
  const std::string_view coding = request.header("content-encoding");
  return !coding.empty() && coding != "identity";
}

Response no_packed() {
  Response response = problem(415, "not-supported", "send the body as it is, not packed");
  response.set("Accept-Encoding", "identity");
  return response;
}

Response no_route(bool path_known) {
  return path_known ? problem(405, "not-supported", "this address does not take that method")
                    : problem(404, "not-found", "there is nothing at this address");
}

void secure(Response& response) {
  response.set("X-Content-Type-Options", "nosniff");
  response.set("Cache-Control", "no-store");
  response.set("Referrer-Policy", "no-referrer");
  response.set(
      "Content-Security-Policy",
      "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src "
      "'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors "
      "'none'");
}

}  // namespace

struct Api::Route {
  std::string_view method;
  std::vector<std::string_view> path;  // "{}" stands for any one segment
  void (Api::*run)(Request&, const Segments&, const Answer&);
  people::Right right;
};

const std::vector<Api::Route>& Api::table() {
  using people::Right;
  static const std::vector<Route> routes = {
      {"POST", {"sessions"}, &Api::post_session, Right::kSend},
      {"GET", {"sessions", "{}"}, &Api::get_session, Right::kFollow},
      {"GET", {"sessions", "{}", "outcome"}, &Api::get_outcome, Right::kReadMessage},
      {"GET", {"sessions", "{}", "document"}, &Api::get_document, Right::kReadRecord},
      {"GET", {"sessions", "{}", "revisions", "{}"}, &Api::get_message, Right::kReadMessage},
      {"POST", {"sessions", "{}", "revisions"}, &Api::post_revision, Right::kSend},
      {"POST", {"sessions", "{}", "release"}, &Api::post_steer, Right::kSteer},
      {"POST", {"sessions", "{}", "remap"}, &Api::post_steer, Right::kSteer},
      {"POST", {"sessions", "{}", "withdraw"}, &Api::post_steer, Right::kSteer},
      {"POST", {"sessions", "{}", "move"}, &Api::post_move, Right::kSteer},
      {"POST", {"sign-in"}, &Api::post_sign_in, Right::kOpen},
      {"POST", {"sign-out"}, &Api::post_sign_out, Right::kSelf},
      {"GET", {"me"}, &Api::get_me, Right::kOpen},
      {"GET", {"targets"}, &Api::get_targets, Right::kSeeTargets},
      {"POST", {"targets", "{}", "preflight"}, &Api::post_preflight, Right::kSteerTargets},
      {"POST", {"targets", "{}", "pause"}, &Api::post_target, Right::kSteerTargets},
      {"POST", {"targets", "{}", "resume"}, &Api::post_target, Right::kSteerTargets},
      {"GET", {"ward"}, &Api::get_ward, Right::kReadWard},
      {"POST", {"history"}, &Api::post_history, Right::kReadRecord},
      {"POST", {"sheets"}, &Api::post_sheets, Right::kHandOut},
      {"POST", {"sheets", "end"}, &Api::post_sheets, Right::kHandOut},
      {"POST", {"sheet", "plan"}, &Api::post_sheet_plan, Right::kOpen},
      {"POST", {"sheet", "records"}, &Api::post_sheet_records, Right::kOpen},
      {"GET", {"mapping"}, &Api::get_mapping, Right::kSeeMapping},
      {"GET", {"mapping", "files"}, &Api::get_mapping_files, Right::kSeeMapping},
      {"GET", {"mapping", "files", "{}"}, &Api::get_mapping_files, Right::kSeeMapping},
      {"POST", {"mapping", "approve"}, &Api::post_mapping, Right::kChangeMapping},
      {"POST", {"mapping", "roll-back"}, &Api::post_mapping, Right::kChangeMapping},
      {"POST", {"try-out"}, &Api::post_try_out, Right::kReadMessage},
      {"POST", {"try-out", "traffic"}, &Api::post_try_out, Right::kReadMessage},
      {"GET", {"traffic"}, &Api::get_traffic, Right::kTraffic},
      {"POST", {"traffic"}, &Api::post_traffic, Right::kSearch},
      {"POST", {"log"}, &Api::post_log, Right::kReadLog},
      {"POST", {"log", "proof"}, &Api::post_proof, Right::kReadLog},
      {"POST", {"log", "verify"}, &Api::post_verify, Right::kAudit},
      {"POST", {"log", "replay"}, &Api::post_replay, Right::kAudit},
      {"GET", {"events"}, &Api::get_events, Right::kTraffic},
      {"GET", {"metrics"}, &Api::get_metrics, Right::kMetrics},
      {"GET", {"health", "live"}, &Api::get_text, Right::kOpen},
      {"GET", {"health", "ready"}, &Api::get_ready, Right::kOpen},
      {"GET", {"metadata"}, &Api::get_text, Right::kOpen},
      {"GET", {"openapi.json"}, &Api::get_text, Right::kOpen},
      {"GET", {"schema", "session"}, &Api::get_text, Right::kOpen},
      {"GET", {"model", "session"}, &Api::get_text, Right::kOpen},
      {"GET", {"plausibility"}, &Api::get_text, Right::kOpen},
      {"GET", {""}, &Api::get_page, Right::kOpen},
      {"GET", {"page.js"}, &Api::get_page, Right::kOpen},
      {"GET", {"desk"}, &Api::get_page, Right::kOpen},
      {"GET", {"desk.js"}, &Api::get_page, Right::kOpen},
      {"GET", {"desk.css"}, &Api::get_page, Right::kOpen},
      {"GET", {"page.css"}, &Api::get_page, Right::kOpen},
      {"GET", {"sheet"}, &Api::get_page, Right::kOpen},
      {"GET", {"sheet.js"}, &Api::get_page, Right::kOpen},
      {"GET", {"sheet.css"}, &Api::get_page, Right::kOpen},
      {"GET", {"worker.js"}, &Api::get_page, Right::kOpen},
      {"GET", {"manifest.webmanifest"}, &Api::get_page, Right::kOpen},
      {"GET", {"icon.svg"}, &Api::get_page, Right::kOpen},
  };
  return routes;
}

std::vector<std::string> Api::routes() {
  std::vector<std::string> out;
  for (const Route& route : table()) {
    std::string text(route.method);
    text += ' ';
    std::string_view any = "{id}";
    for (const std::string_view segment : route.path) {
      text.append("/").append(segment == "{}" ? std::exchange(any, "{revision}") : segment);
    }
    out.push_back(std::move(text));
  }
  return out;
}

Api::Found Api::find(const Request& request) {
  Found found;
  found.at = segments_of(request.path());
  for (const Route& route : table()) {
    const bool fits = route.path.size() == found.at.size() &&
                      std::equal(found.at.begin(), found.at.end(), route.path.begin(),
                                 [](const std::string& given, std::string_view wanted) {
                                   return wanted == "{}" || given == wanted;
                                 });
    found.path_known = found.path_known || fits;
    if (fits &&
        (request.method == route.method || (request.method == "HEAD" && route.method == "GET"))) {
      found.route = &route;
      break;
    }
  }
  return found;
}

people::Right Api::right_of(const Route& route, const Request& request) {
  return route.run == &Api::post_session && is_dry(request) ? people::Right::kPreview : route.right;
}

// What waits for the journal: all but what answers from memory or gives its work away.
bool Api::reads(const Route& route) {
  const auto run = route.run;
  return run != &Api::get_text && run != &Api::get_page && run != &Api::get_ready &&
         run != &Api::post_session && run != &Api::post_sign_in && run != &Api::post_sign_out &&
         run != &Api::get_me;
}

void Api::handle(Request request, Answer answer) {
  // Every answer is counted and carries the headers that keep browsers strict.
  const Answer reply = answer.then([this](Response& response) {
    secure(response);
    world_.metrics.answered(response.status);
  });
  const Found found = find(request);
  if (found.route == nullptr) {
    reply(no_route(found.path_known));
    return;
  }
  if (auto refusal = who_may_.refuse(request, right_of(*found.route, request))) {
    reply(std::move(*refusal));
    return;
  }
  if (found.route->method == "POST" && is_packed(request)) {
    reply(no_packed());
    return;
  }
  if (found.route->method == "POST" && !is_json(request)) {
    reply(problem(415, "not-supported", "send application/json or application/fhir+json"));
    return;
  }
  if (world_.readers == nullptr || !reads(*found.route)) {
    (this->*found.route->run)(request, found.at, reply);
    return;
  }
  // One after another, as on the server's own thread.
  const auto asked = std::make_shared<Request>(std::move(request));
  const bool taken =
      world_.readers->run("journal", [this, asked, route = found.route, at = found.at, reply] {
        (this->*route->run)(*asked, at, reply);
      });
  if (!taken) {
    reply(problem(503, "transient", "the engine has as much in hand as it can"));
  }
}

std::optional<Response> Api::screen(const Request& head) const {
  const Found found = find(head);
  std::optional<Response> refusal;
  if (found.route == nullptr) {
    refusal = no_route(found.path_known);
  } else {
    Request copy = head;
    refusal = who_may_.refuse(copy, right_of(*found.route, head));
  }
  if (refusal) {
    secure(*refusal);
    world_.metrics.answered(refusal->status);
  }
  return refusal;
}

std::size_t Api::body_max(const Request& head) {
  const Found found = find(head);
  if (found.route == nullptr || found.route->right != people::Right::kOpen) {
    return base::limits::kBodyBytesMax;
  }
  const bool sheet =
      found.route->run == &Api::post_sheet_plan || found.route->run == &Api::post_sheet_records;
  return sheet ? base::limits::kSheetBodyBytesMax : base::limits::kSignInBodyBytesMax;
}

void Api::take_in(Request& request, std::string session, const Answer& answer) {
  if (world_.stopping()) {
    answer(problem(503, "transient", "the engine is ending; send again in a moment"));
    return;
  }
  intake::Arrival arrival;
  arrival.body = std::move(request.body);
  arrival.session = std::move(session);
  arrival.sender = request.caller;
  world_.intake.accept(std::move(arrival), [answer](intake::Answer told) {
    Response response(told.status, told.status < 300 ? kJson : kFhirJson, std::move(told.body));
    if (!told.session.empty()) {
      response.set("Location", "/sessions/" + told.session);
    }
    if (told.try_later) {
      response.set("Retry-After", std::to_string(told.pause.count()));
    }
    answer(std::move(response));
  });
}

void Api::post_session(Request& request, const Segments&, const Answer& answer) {
  if (is_dry(request)) {
    world_.intake.dry_run(std::move(request.body), world_.now(), [answer](intake::Answer told) {
      answer(Response(told.status, told.status < 300 ? kJson : kFhirJson, std::move(told.body)));
    });
    return;
  }
  take_in(request, "", answer);
}

void Api::post_revision(Request& request, const Segments& at, const Answer& answer) {
  const auto known = world_.journal.store().acceptances(at[1]);
  if (!known) {
    answer(from_error(known.error()));
  } else if (known->empty()) {
    answer(problem(404, "not-found", "there is no such session; send it to /sessions first"));
  } else {
    take_in(request, at[1], answer);
  }
}

void Api::get_session(Request&, const Segments& at, const Answer& answer) {
  auto view = session_view(world_.journal.store(), at[1]);
  answer(view ? Response(200, kJson, std::move(*view)) : from_error(view.error()));
}

// Holds what was found wrong, and so perhaps a value of a patient: nobody sees it without a record
// of that.
void Api::get_outcome(Request& request, const Segments& at, const Answer& answer) {
  auto view = outcome_view(world_.journal.store(), at[1]);
  if (!view) {
    answer(from_error(view.error()));
    return;
  }
  journal::Record record;
  record.session = at[1];
  record.why = "outcome of a held session";
  answer_noted(request, std::move(record), Response(200, kFhirJson, std::move(*view)), answer);
}

void Api::get_traffic(Request&, const Segments&, const Answer& answer) {
  auto view = traffic_view(world_.journal.store(), base::limits::kTrafficMax);
  answer(view ? Response(200, kJson, std::move(*view)) : from_error(view.error()));
}

void Api::get_events(Request& request, const Segments&, const Answer& answer) {
  std::optional<journal::Position> after;
  const std::string_view last = request.header("last-event-id");
  journal::Position position = 0;
  const auto [end, error] = std::from_chars(last.data(), last.data() + last.size(), position);
  if (!last.empty() && error == std::errc() && end == last.data() + last.size()) {
    after = position;
  }
  Response response;
  response.set("Content-Type", "text/event-stream");
  response.stream = world_.events.open(after);
  response.stream->only_while(who_may_.watch(request, people::Right::kTraffic));
  answer(std::move(response));
}

void Api::get_metrics(Request&, const Segments&, const Answer& answer) {
  const auto legs = world_.journal.store().open_counts();
  const auto size = world_.journal.store().size();
  if (!legs || !size) {
    answer(from_error(legs ? size.error() : legs.error()));
    return;
  }
  Metrics::Gauges gauges;
  gauges.legs = *legs;
  gauges.journal_size = *size;
  gauges.journal_failing = world_.journal.failing();
  for (const delivery::TargetDesk::Gauge& one : world_.desk.gauges()) {
    gauges.targets.push_back({one.name, one.waiting, one.paused, one.in_flight});
  }
  answer(Response(200, "text/plain; version=0.0.4; charset=utf-8", world_.metrics.text(gauges)));
}

void Api::get_ready(Request&, const Segments&, const Answer& answer) {
  if (world_.journal.failing()) {
    const auto why = world_.journal.failure();
    answer(problem(
        503, "transient",
        why ? "the journal cannot be written: " + std::string(journal::kind_of_failure(*why).text)
            : std::string("the journal could not be written until now")));
  } else if (world_.metrics.altered()) {
    answer(problem(503, "exception",
                   "the journal contradicts its last signed head: run journal verify"));
  } else if (world_.metrics.unread()) {
    answer(problem(503, "exception",
                   "the journal does not say what is to be sent: look at the log, and run journal "
                   "verify"));
  } else if (world_.stopping()) {
    answer(problem(503, "transient", "the engine is ending"));
  } else if (!world_.journal.store().may_send()) {
    answer(
        problem(503, "transient",
                "this engine sends nothing: the others of the journal do not hear of it, or it has "
                "not the journal's master key; look at the database and the log"));
  } else if (world_.intake.full()) {
    answer(problem(503, "transient", "as much as may wait is waiting: look at /targets"));
  } else {
    answer(Response(200, "text/plain; charset=utf-8", "ready\n"));
  }
}

void Api::get_text(Request&, const Segments& at, const Answer& answer) {
  if (at[0] == "schema") {
    answer(Response(200, "application/schema+json", world_.texts.schema));
  } else if (at[0] == "model") {
    answer(Response(200, kFhirJson, world_.texts.model));
  } else if (at[0] == "plausibility") {
    answer(Response(200, kJson, world_.texts.plausibility));
  } else if (const StaticText* text = static_text(at[0])) {
    answer(Response(200, std::string(text->content_type), std::string(text->text)));
  } else {
    answer(Response(200, "text/plain; charset=utf-8", "live\n"));
  }
}

}  // namespace engine::web
