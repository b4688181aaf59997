// The routes of the patient's sheet: a therapist hands a link out or ends it; who has the link
// reads one patient's plan and reports what was done, and nothing else. The link stands in a body,
// never in an address. Every link that does not work gets the same answer, after the same pause.

#include <algorithm>
#include <chrono>
#include <memory>
#include <utility>

#include "engine/base/limits.h"
#include "engine/json/document.h"
#include "engine/web/api.h"
#include "engine/web/sheet_document.h"
#include "engine/web/sheet_limits.h"
#include "engine/web/sheets.h"
#include "engine/web/view_text.h"

namespace engine::web {
namespace {

namespace limits = base::limits;

constexpr const char* kJson = "application/json";
constexpr const char* kEnded =
    "this link does not work, or not any more; ask your therapist or nurse for a new one";

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

// False after it was answered.
bool read_body(const Request& request, json::Document& document, const char* wanted,
               const Answer& answer) {
  if (request.body.size() > limits::kSheetBodyBytesMax) {
    answer(problem(413, "too-long", "a request of a sheet has at most 32 KiB"));
    return false;
  }
  if (!document.parse(request.body).has_value() || !document.root()->is_object()) {
    answer(problem(400, "structure", std::string("send ") + wanted));
    return false;
  }
  return true;
}

Named named_at(const json::Node& object, std::string_view member) {
  const json::Node* one = object.find(member);
  return one == nullptr
             ? Named{}
             : Named{std::string(one->string_at("system")), std::string(one->string_at("value"))};
}

// Within what a link was given for: not in the future, not long before it.
base::Result<void> check_times(const SheetReport& report, const SheetLink& link,
                               std::int64_t now_ms) {
  using std::chrono::milliseconds;
  const std::int64_t first = link.handed_out_ms - milliseconds(limits::kSheetBack).count();
  const std::int64_t last =
      std::min(now_ms + milliseconds(limits::kSheetAhead).count(), link.expires_ms);
  for (const SheetEntry& entry : report.entries) {
    if (entry.at_ms < first || entry.at_ms > last) {
      return base::Error(base::ErrorCode::kInvalid,
                         entry.at_ms > now_ms
                             ? "this time lies in the future; look at the phone's clock"
                             : "this time does not lie in the time of the sheet");
    }
  }
  return {};
}

Response of(const base::Error& error) {
  return error.code == base::ErrorCode::kLimit ? problem(422, "too-long", error.detail)
                                               : from_error(error);
}

// One report on its way into the intake. When somebody else wrote the session's next revision first
// (a therapist who attested, the patient's other phone), it is made anew of what is there now.
class SheetTurn : public std::enable_shared_from_this<SheetTurn> {
 public:
  SheetTurn(Api::World& world, SheetLink link, SheetReport report, Answer answer)
      : world_(world),
        link_(std::move(link)),
        report_(std::move(report)),
        answer_(std::move(answer)) {}

  void take() {
    const auto latest = world_.sheets.latest(link_);
    if (!latest) {
      answer_(from_error(latest.error()));
      return;
    }
    auto next = next_document(link_.frame, *latest, report_, world_.now());
    if (!next) {
      answer_(of(next.error()));
      return;
    }
    if (!next->changed) {
      answer_(Response(200, kJson, R"({"reported":)" + reported_view(*latest) + "}"));
      return;
    }
    const std::string document = next->text;
    world_.intake.accept({std::move(next->text), "", "patient's sheet"},
                         [self = shared_from_this(), document](intake::Answer told) {
                           self->taken(std::move(told), document);
                         });
  }

 private:
  void taken(intake::Answer told, const std::string& document) {
    if (told.status == 409 && ++turns_ < limits::kSheetTurnsMax) {
      take();
      return;
    }
    if (told.status < 300) {
      answer_(Response(told.status, kJson, R"({"reported":)" + reported_view(document) + "}"));
      return;
    }
    Response response(told.status, "application/fhir+json", std::move(told.body));
    if (told.try_later) {
      response.set("Retry-After", std::to_string(told.pause.count()));
    }
    answer_(std::move(response));
  }

  Api::World& world_;
  SheetLink link_;
  SheetReport report_;
  Answer answer_;
  int turns_ = 0;
};

}  // namespace

// Who may do this is the business of whatever stands in front of the engine, as with every route of
// the therapists' page.
void Api::post_sheets(Request& request, const Segments& at, const Answer& answer) {
  json::Document document(names());
  if (!read_body(request, document,
                 "{\"patient\": {\"system\", \"value\"}, \"therapist\": {\"system\", \"value\", "
                 "\"display\"}}",
                 answer)) {
    return;
  }
  const json::Node& wish = *document.root();
  const json::Node* who = wish.find("therapist");
  const std::string display(who != nullptr ? who->string_at("display") : std::string_view());
  const Named patient = named_at(wish, "patient");
  const Named therapist = named_at(wish, "therapist");
  if (at.size() == 2) {
    world_.sheets.end(
        patient, therapist, display, request.caller,
        [answer](const base::Result<std::size_t>& ended) {
          answer(ended ? Response(200, kJson, "{\"ended\":" + std::to_string(*ended) + "}")
                       : of(ended.error()));
        });
    return;
  }
  world_.sheets.hand_out(patient, therapist, display, request.caller,
                         [answer](const base::Result<Sheets::HandedOut>& given) {
                           if (!given) {
                             answer(of(given.error()));
                             return;
                           }
                           std::string out = "{";
                           member(out, "token", given->token);
                           member(out, "expires", given->expires);
                           answer(Response(201, kJson, out + "}"));
                         });
}

// After a pause, and noted, as long as there are not too many of them.
void Api::wrong_link(const Request& request, const Answer& answer) {
  Response response = problem(404, "not-found", kEnded);
  response.delay = limits::kSheetDelay;
  if (!wrong_links_.note(request.peer, world_.sheets.now_ms())) {
    response = problem(429, "throttled", kEnded);
    answer(std::move(response));
    return;
  }
  journal::Record record;
  record.kind = journal::Kind::kRefused;
  record.status = 404;
  record.actor = "address " + request.peer;
  record.why = "a link of a sheet that does not work";
  const bool taken =
      world_.journal.submit(journal::Change(std::move(record)),
                            [answer, response](const base::Result<journal::Outcome>& outcome) {
                              answer(outcome ? response : from_error(outcome.error()));
                            });
  if (!taken) {
    answer(problem(503, "transient", "the engine has as much in hand as it can"));
  }
}

void Api::post_sheet_plan(Request& request, const Segments&, const Answer& answer) {
  json::Document document(names());
  if (!read_body(request, document, "{\"token\"}", answer)) {
    return;
  }
  const auto link = world_.sheets.find(document.root()->string_at("token"));
  auto plan = link ? world_.sheets.plan(*link) : link.error();
  if (!plan && plan.error().code == base::ErrorCode::kNotFound) {
    wrong_link(request, answer);
    return;
  }
  if (!plan) {
    answer(problem(503, "transient", "the plan cannot be read just now"));
    return;
  }
  journal::Record record;
  record.session = link->session;
  record.patient = link->patient;
  record.why = "plan, by the link of a patient's sheet";
  answer_noted(request, std::move(record), Response(200, kJson, std::move(*plan)), answer);
}

void Api::post_sheet_records(Request& request, const Segments&, const Answer& answer) {
  json::Document document(names());
  if (!read_body(request, document, "{\"token\", \"entries\": [...], \"takenBack\": [...]}",
                 answer)) {
    return;
  }
  if (world_.stopping()) {
    answer(problem(503, "transient", "the engine is ending; send again in a moment"));
    return;
  }
  auto link = world_.sheets.find(document.root()->string_at("token"));
  if (!link) {
    if (link.error().code == base::ErrorCode::kNotFound) {
      wrong_link(request, answer);
    } else {
      answer(from_error(link.error()));
    }
    return;
  }
  auto report = read_report(*document.root());
  const auto timely = report ? check_times(*report, *link, world_.sheets.now_ms()) : report.error();
  if (!timely) {
    answer(of(timely.error()));
    return;
  }
  std::make_shared<SheetTurn>(world_, std::move(*link), std::move(*report), answer)->take();
}

}  // namespace engine::web
