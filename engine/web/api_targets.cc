// The routes of the targets: how they do, pause, resume.

#include <utility>

#include "engine/delivery/target_desk.h"
#include "engine/json/document.h"
#include "engine/web/api.h"
#include "engine/web/session_view.h"

namespace engine::web {

void Api::get_targets(Request&, const Segments&, const Answer& answer) {
  auto view = world_.desk.view();
  answer(view ? Response(200, "application/json", std::move(*view)) : from_error(view.error()));
}

void Api::post_target(Request& request, const Segments& at, const Answer& answer) {
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(request.body).has_value() || !document.root()->is_object()) {
    answer(problem(400, "structure", "send {\"actor\", \"why\"}"));
    return;
  }
  delivery::PauseWish wish;
  wish.target = at[1];
  wish.pause = at[2] == "pause";
  wish.actor = actor_of(request, *document.root());
  wish.why = std::string(document.root()->string_at("why"));
  world_.desk.steer(std::move(wish), [answer](const base::Result<journal::Outcome>& outcome) {
    answer(outcome ? Response(200, "application/json", record_view(outcome->record))
                   : from_error(outcome.error()));
  });
}

}  // namespace engine::web
