// The routes by which a person moves a session on: release, remap, withdraw, and to another
// patient.

#include <charconv>
#include <utility>

#include "engine/intake/moving.h"
#include "engine/intake/steering.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/web/api.h"
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
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(request.body).has_value() || !document.root()->is_object()) {
    answer(problem(400, "structure", "send {\"why\", \"actor\", \"revision\"?, \"target\"?}"));
    return;
  }
  intake::SteerRequest wish;
  wish.action = *intake::steer_of(at[2]);
  wish.session = at[1];
  wish.target = std::string(document.root()->string_at("target"));
  wish.actor = actor_of(request, *document.root());
  wish.why = std::string(document.root()->string_at("why"));
  wish.targets = world_.desk.names();
  if (const json::Node* revision = document.root()->find("revision")) {
    const std::string_view text = revision->text();
    std::from_chars(text.data(), text.data() + text.size(), wish.revision);
  }
  auto change = intake::steer(world_.journal.store(), wish);
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
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(request.body).has_value() || !document.root()->is_object()) {
    answer(problem(
        400, "structure",
        "send {\"to\": {\"system\", \"value\"}, \"why\", \"actor\", \"encounter\"?, \"as\"?, "
        "\"role\"?, \"known\"?}"));
    return;
  }
  const json::Node& asked = *document.root();
  therapy::Move wanted;
  wanted.patient = key_of(asked.find("to"));
  wanted.encounter = key_of(asked.find("encounter"));
  wanted.as = std::string(asked.string_at("as"));
  wanted.actor = actor_of(request, asked);
  wanted.why = std::string(asked.string_at("why"));
  wanted.time = world_.now();
  if (const std::string_view role = asked.string_at("role"); !role.empty()) {
    wanted.role = std::string(role);
  }
  if (const json::Node* known = asked.find("known")) {
    wanted.known = json::to_text(*known);
  }
  auto moving = world_.intake.plan_move(at[1], wanted);
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
