#include "engine/journal/postgres_sends.h"

namespace engine::journal::postgres {
namespace {

Sends::Key key_of(const Record& record) {
  return {record.session, record.revision, record.target};
}

bool is_send(const Outcome& outcome) {
  return outcome.record.kind == Kind::kDispatched && outcome.verdict == Outcome::Verdict::kWritten;
}

bool ends_a_send(Kind kind) {
  return kind == Kind::kAnswered || kind == Kind::kLanded || kind == Kind::kHeld ||
         kind == Kind::kWithdrawn;
}

}  // namespace

void Sends::begin(const std::vector<Outcome>& outcomes) {
  const std::lock_guard lock(mutex_);
  for (const Outcome& outcome : outcomes) {
    if (is_send(outcome)) {
      all_[key_of(outcome.record)] = outcome.position;
    }
  }
}

void Sends::forget(const std::vector<Outcome>& outcomes) {
  const std::lock_guard lock(mutex_);
  for (const Outcome& outcome : outcomes) {
    if (const auto found = all_.find(key_of(outcome.record));
        is_send(outcome) && found != all_.end() && found->second == outcome.position) {
      all_.erase(found);
    }
  }
}

// What comes too late to end it finds that another engine took it over, or that a database took
// over which never heard of it.
void Sends::end(const std::vector<Change>& batch, const std::vector<Outcome>& outcomes) {
  const std::lock_guard lock(mutex_);
  for (std::size_t i = 0; i < outcomes.size(); ++i) {
    const auto found = all_.find(key_of(batch[i].record));
    if (found != all_.end() && ends_a_send(batch[i].record.kind) &&
        (outcomes[i].verdict == Outcome::Verdict::kWritten ||
         batch[i].only_if_changed == found->second)) {
      all_.erase(found);
    }
  }
}

Sends::All Sends::all() const {
  const std::lock_guard lock(mutex_);
  return all_;
}

bool Sends::holds(const All& all, const Leg& leg) {
  const auto found = all.find({leg.session, leg.revision, leg.target});
  return found != all.end() && found->second == leg.changed;
}

}  // namespace engine::journal::postgres
