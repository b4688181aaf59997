#include "engine/journal/store.h"

#include <utility>

namespace engine::journal {

base::Result<Head> Store::head(Position position) const {
  const auto text = head_text(position);
  return text ? parse_head(*text, position) : base::Result<Head>(text.error());
}

base::Result<std::optional<Record>> Store::newest(Kind kind) const {
  Query query;
  query.kind = kind;
  query.newest_first = true;
  query.limit = 1;
  while (true) {
    auto found = search(query);
    if (!found) {
      return std::move(found).error();
    }
    if (found->empty()) {
      return std::optional<Record>();
    }
    if (found->front().kind == kind) {
      return std::optional<Record>(std::move(found->front()));
    }
    query.after = found->front().position;
  }
}

bool stands(const Leg& leg) {
  return leg.state != LegState::kSuperseded &&
         (leg.state != LegState::kWithdrawn || is_doubtful(leg));
}

bool is_doubtful(const Leg& leg) {
  return leg.state == LegState::kWithdrawn && leg.uncertain;
}

}  // namespace engine::journal
