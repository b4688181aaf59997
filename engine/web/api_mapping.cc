// The routes of the mapping sets in force and waiting.

#include <utility>

#include "engine/json/document.h"
#include "engine/web/api.h"
#include "engine/web/asked.h"
#include "engine/web/problem.h"

namespace engine::web {
namespace {

constexpr const char* kJson = "application/json";

}  // namespace

void Api::get_mapping(Request&, const Segments&, const Answer& answer) {
  answer(Response(200, kJson, world_.mapping.status()));
}

void Api::post_mapping(Request& request, const Segments& at, const Answer& answer) {
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(request.body).has_value() || !document.root()->is_object()) {
    answer(problem(400, "structure",
                   "send {\"set\" (of approve), \"target\" (when it has sets of its own), "
                   "\"actor\", \"why\"}"));
    return;
  }
  const json::Node& wish = *document.root();
  journal::Change change;
  change.record.kind = journal::Kind::kApproved;
  change.record.actor = actor_of(request, wish);
  change.record.why = wish.string_at("why");
  const auto target = text_at(wish, "target");
  const auto set = text_at(wish, "set");
  if (!target || !set) {
    answer(problem(400, "structure", (target ? set : target).error().detail));
    return;
  }
  auto made = at[1] == "approve"
                  ? world_.mapping.approve(*set, *target, change.record.actor, change.record.why)
                  : world_.mapping.roll_back(*target, change.record.actor, change.record.why);
  if (!made) {
    answer(from_error(made.error()));
    return;
  }
  change.record.target = std::move(made->target);
  change.record.made_with = std::move(made->made_with);
  const bool taken = world_.journal.submit(
      std::move(change),
      [answer, status = world_.mapping.status](const base::Result<journal::Outcome>& outcome) {
        answer(outcome ? Response(200, kJson, status()) : from_error(outcome.error()));
      });
  if (!taken) {
    answer(problem(503, "transient", "the set is in force; the engine is too busy to note it"));
  }
}

}  // namespace engine::web
