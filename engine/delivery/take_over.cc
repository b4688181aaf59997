#include "engine/delivery/take_over.h"

#include <utility>

namespace engine::delivery {

std::size_t take_over(journal::Appender& journal) {
  const auto orphans = journal.store().orphans();
  if (!orphans) {
    return 0;  // looked at again with the next tick
  }
  for (const journal::Leg& leg : *orphans) {
    journal::Change change;
    change.record.kind = journal::Kind::kAnswered;
    change.record.session = leg.session;
    change.record.revision = leg.revision;
    change.record.target = leg.target;
    change.record.patient = leg.patient;
    change.record.reason = "interrupted";
    change.record.actor = journal.store().engine();
    change.record.unknown = true;
    change.only_if = journal::LegState::kDispatched;
    change.only_if_changed = leg.changed;
    static_cast<void>(journal.submit(std::move(change), {}));
  }
  return orphans->size();
}

}  // namespace engine::delivery
