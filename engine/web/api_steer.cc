// The routes by which a person moves a session on: release, remap, withdraw, and to another
// patient.

#include <utility>

#include "engine/base/limits.h"
#include "engine/intake/moving.h"
#include "engine/intake/steering.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/web/api.h"
#include "engine/web/asked.h"
#include "engine/web/session_view.h"

namespace engine::web {
namespace {

constexpr const char* kJson = "application/json";
constexpr const char* kBusy = "the engine has as much in hand as it can";

// "SYSTEM|VALUE" of an identifier; "|" when a part is missing, which whoever reads it refuses.
std::string key_of(const json::Node* identifier) {
  return identifier == nullptr ? std::string()
                               : std::string(identifier->string_at("system")) + "|" +
                                     std::string(identifier->string_at("value"));
}

base::Result<intake::SteerRequest> read_steer(const Request& request) {
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(request.body).has_value() || !document.root()->is_object()) {
    return base::Error(base::ErrorCode::kInvalid,
                       "send {\"why\", \"actor\", \"revision\"?, \"target\"?}");
  }
  const json::Node& asked = *document.root();
  if (auto good = check_members(asked, {"why", "actor", "revision", "target"}); !good) {
    return good.error();
  }
  auto target = text_at(asked, "target");
  const auto revision = whole_at(asked, "revision", base::limits::kRevisionMax);
  if (!target || !revision) {
    return target ? revision.error() : target.error();
  }
  intake::SteerRequest wish;
  wish.target = std::move(*target);
  wish.revision = static_cast<std::uint32_t>(*revision);
  wish.actor = actor_of(request, asked);
  wish.why = std::string(asked.string_at("why"));
  return wish;
}

base::Result<therapy::Move> read_move(const Request& request) {
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(request.body).has_value() || !document.root()->is_object()) {
    return base::Error(
        base::ErrorCode::kInvalid,
        "send {\"to\": {\"system\", \"value\"}, \"why\", \"actor\", \"encounter\"?, \"as\"?, "
        "\"role\"?, \"known\"?}");
  }
  const json::Node& asked = *document.root();
  if (auto good = check_members(asked, {"to", "why", "actor", "encounter", "as", "role", "known"});
      !good) {
    return good.error();
  }
  auto as = text_at(asked, "as");
  auto role = text_at(asked, "role");
  if (!as || !role) {
    return as ? role.error() : as.error();
  }
  therapy::Move wanted;
  wanted.patient = key_of(asked.find("to"));
  wanted.encounter = key_of(asked.find("encounter"));
  wanted.as = std::move(*as);
  wanted.actor = actor_of(request, asked);
  wanted.why = std::string(asked.string_at("why"));
  if (!role->empty()) {
    wanted.role = std::move(*role);
  }
  if (const json::Node* known = asked.find("known")) {
    wanted.known = json::to_text(*known);
  }
  return wanted;
}

std::string moved_view(const std::vector<journal::Outcome>& outcomes,
                       const std::vector<std::uint32_t>& left_out) {
  std::string out = "{\"takenBack\":";
  out += intake::receipt_text(outcomes[0].record.session, outcomes[0].record.revision, "accepted",
                              outcomes[0].position, outcomes[0].record.time);
  out += ",\"entered\":";
  out += intake::receipt_text(outcomes[1].record.session, outcomes[1].record.revision, "accepted",
                              outcomes[1].position, outcomes[1].record.time);
  out += ",\"leftOut\":[";
  for (const std::uint32_t revision : left_out) {
    out += (out.back() == '[' ? "" : ",") + std::to_string(revision);
  }
  return out + "]}";
}

}  // namespace

void Api::post_steer(Request& request, const Segments& at, const Answer& answer) {
  auto wish = read_steer(request);
  if (!wish) {
    answer(problem(400, "structure", wish.error().detail));
    return;
  }
  wish->action = *intake::steer_of(at[2]);
  wish->session = at[1];
  wish->targets = world_.desk.names();
  auto change = intake::steer(world_.journal.store(), *wish);
  if (!change) {
    answer(from_error(change.error()));
    return;
  }
  const bool taken = world_.journal.submit(
      std::move(*change),
      [answer, moved = world_.moved](const base::Result<journal::Outcome>& outcome) {
        if (!outcome) {
          answer(from_error(outcome.error()));
        } else if (outcome->verdict != journal::Outcome::Verdict::kWritten) {
          answer(problem(409, "conflict", "it is not held any more"));
        } else {
          moved();
          answer(Response(200, kJson, record_view(outcome->record)));
        }
      });
  if (!taken) {
    answer(problem(503, "transient", kBusy));
  }
}

void Api::post_move(Request& request, const Segments& at, const Answer& answer) {
  auto wanted = read_move(request);
  if (!wanted) {
    answer(problem(400, "structure", wanted.error().detail));
    return;
  }
  wanted->time = world_.now();
  auto moving = world_.intake.plan_move(at[1], *wanted);
  if (!moving) {
    answer(from_error(moving.error()));
    return;
  }
  const bool taken = world_.journal.submit_together(
      std::move(moving->changes),
      [answer, moved = world_.moved, left_out = std::move(moving->left_out)](
          const base::Result<std::vector<journal::Outcome>>& outcomes) {
        const auto good = outcomes ? intake::check_moved(*outcomes) : outcomes.error();
        if (!good) {
          answer(from_error(good.error()));
          return;
        }
        moved();
        answer(Response(202, kJson, moved_view(*outcomes, left_out)));
      });
  if (!taken) {
    answer(problem(503, "transient", kBusy));
  }
}

}  // namespace engine::web
