#include "engine/delivery/pauses.h"

#include <algorithm>
#include <limits>
#include <utility>

#include "engine/journal/words.h"

namespace engine::delivery {

using journal::Kind;
using journal::Record;

base::Result<void> Pauses::follow(const journal::Store& store) {
  const auto same = is_same(store);
  if (!same) {
    return same.error();
  }
  journal::Query query;
  {
    const std::lock_guard lock(mutex_);
    seen_ = *same ? seen_ : 0;
    query.after = seen_;
    noted_.clear();
  }
  // Before the search: what is written meanwhile is found by the next one.
  const auto end = store.size();
  if (!end || *end == query.after) {
    return end ? base::Result<void>() : end.error();
  }
  query.limit = std::numeric_limits<std::size_t>::max();
  Last read;
  Record doubtful;
  for (const Kind kind : {Kind::kPaused, Kind::kResumed}) {
    query.kind = kind;
    const auto records = store.search(query);
    if (!records) {
      return records.error();
    }
    for (const Record& record : *records) {
      if (record.kind == Kind::kUnreadable) {
        doubtful = kind == Kind::kPaused ? record : doubtful;
      } else {
        put(read, record);
      }
    }
  }
  const std::lock_guard lock(mutex_);
  if (seen_ != query.after) {
    return {};  // it was asked to read again meanwhile
  }
  if (query.after == 0) {
    last_.clear();
    doubtful_ = {};
  }
  if (doubtful.position != 0) {
    doubtful_ = std::move(doubtful);
    doubtful_.kind = Kind::kPaused;
    doubtful_.why = "the record of a pause cannot be read; resume what may be sent to";
  }
  for (const auto& one : read) {
    put(last_, one.second);
  }
  for (const Record& record : noted_) {
    put(last_, record);
  }
  seen_ = *end;
  return {};
}

// Whether the journal still holds what was read, and what was noted since.
base::Result<bool> Pauses::is_same(const journal::Store& store) {
  const auto cut = marks_.look(store);
  if (!cut || cut->has_value()) {
    return cut ? base::Result<bool>(false) : cut.error();
  }
  std::vector<Record> noted;
  {
    const std::lock_guard lock(mutex_);
    noted = noted_;
  }
  for (const Record& record : noted) {
    const auto head = store.head(record.position);
    if (!head && head.error().code != base::ErrorCode::kNotFound &&
        head.error().code != base::ErrorCode::kCorrupt) {
      return head.error();
    }
    if (!head || head->record.kind != record.kind || head->record.target != record.target ||
        head->record.time != record.time || head->record.actor != record.actor) {
      return false;
    }
  }
  return true;
}

void Pauses::put(Last& last, const Record& record) {
  Record& known = last[record.target];
  if (known.position < record.position) {
    known = record;
  }
}

void Pauses::read_again() {
  const std::lock_guard lock(mutex_);
  seen_ = 0;
}

// What was just written is the last of all, unless another process was as quick. When something
// later is known all the same, the journal may have lost that: until it was read again, the one of
// the two that pauses counts.
void Pauses::note(const Record& record) {
  const std::lock_guard lock(mutex_);
  if (record.kind == Kind::kUnreadable) {
    return;
  }
  noted_.push_back(record);
  Record& last = last_[record.target];
  if (last.position < record.position) {
    last = record;
    return;
  }
  if (last.position == record.position && last.kind == record.kind && last.time == record.time) {
    return;  // followed already
  }
  seen_ = 0;
  if (record.kind == Kind::kPaused) {
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
