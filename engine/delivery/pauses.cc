#include "engine/delivery/pauses.h"

#include <algorithm>
#include <limits>
#include <utility>

#include "engine/journal/words.h"

namespace engine::delivery {

using journal::Kind;
using journal::Record;

base::Result<void> Pauses::follow(const journal::Store& store) {
  journal::Query query;
  {
    const std::lock_guard lock(mutex_);
    query.after = seen_;
  }
  // Before the search: what is written meanwhile is found by the next one.
  const auto end = store.size();
  if (!end || *end == query.after) {
    return end ? base::Result<void>() : end.error();
  }
  query.limit = std::numeric_limits<std::size_t>::max();
  for (const Kind kind : {Kind::kPaused, Kind::kResumed}) {
    query.kind = kind;
    const auto records = store.search(query);
    if (!records) {
      return records.error();
    }
    for (const Record& record : *records) {
      if (record.kind == Kind::kUnreadable && kind == Kind::kPaused) {
        const std::lock_guard lock(mutex_);
        doubtful_ = record;
        doubtful_.kind = Kind::kPaused;
        doubtful_.why = "the record of a pause cannot be read; resume what may be sent to";
      }
      note(record);
    }
  }
  const std::lock_guard lock(mutex_);
  seen_ = std::max(seen_, *end);
  return {};
}

void Pauses::note(const Record& record) {
  const std::lock_guard lock(mutex_);
  if (record.kind == Kind::kUnreadable) {
    return;
  }
  Record& last = last_[record.target];
  if (last.position < record.position) {
    last = record;
  }
}

std::optional<Record> Pauses::paused(std::string_view target) const {
  const std::lock_guard lock(mutex_);
  const auto found = last_.find(target);
  const Record& last = found != last_.end() ? found->second : none_;
  if (last.position < doubtful_.position) {
    return doubtful_;
  }
  return last.kind == Kind::kPaused ? std::optional<Record>(last) : std::nullopt;
}

base::Result<journal::Change> pause_change(const Pauses& pauses,
                                           const std::vector<std::string>& targets,
                                           const PauseWish& wish) {
  if (auto good = journal::check_words(wish.actor, wish.why); !good) {
    return good.error();
  }
  if (std::find(targets.begin(), targets.end(), wish.target) == targets.end()) {
    std::string names;
    for (const std::string& name : targets) {
      names += (names.empty() ? "" : ", ") + name;
    }
    return base::Error(base::ErrorCode::kNotFound, "there is no such target; there is: " + names);
  }
  const auto before = pauses.paused(wish.target);
  if (before.has_value() == wish.pause) {
    return base::Error(base::ErrorCode::kConflict,
                       wish.pause
                           ? "it is paused already, by " + before->actor + " since " + before->time
                           : "it is not paused");
  }
  journal::Change change;
  change.record.kind = wish.pause ? Kind::kPaused : Kind::kResumed;
  change.record.target = wish.target;
  change.record.actor = wish.actor;
  change.record.why = wish.why;
  return change;
}

}  // namespace engine::delivery
