#include "engine/journal/sent_bundles.h"

#include <algorithm>
#include <set>

#include "engine/base/limits.h"
#include "engine/journal/target_names.h"

namespace engine::journal {
namespace {

// Goes through the records of one leg.
class Walk {
 public:
  void see(const Record& record) {
    switch (record.kind) {
      case Kind::kChecked:
        current_ = record.position;
        return;
      case Kind::kDispatched:
        end_try(true);  // an engine that ended heard no answer
        pending_ = current_;
        return;
      case Kind::kAnswered:
        end_try(record.unknown);
        return;
      case Kind::kHeld:
        if (!record.made_with.empty()) {
          current_ = record.position;
          return;
        }
        if (!record.unknown && !record.still_unknown) {
          doubtful_.erase(pending_);
        }
        end_try(record.unknown);
        return;
      case Kind::kLanded:
        doubtful_.erase(pending_);
        pending_ = 0;
        return;
      default:
        return;
    }
  }
  std::vector<Position> doubtful() {
    end_try(true);
    return {doubtful_.begin(), doubtful_.end()};
  }

 private:
  void end_try(bool unknown) {
    if (unknown && pending_ != 0) {
      doubtful_.insert(pending_);
    }
    pending_ = 0;
  }
  Position current_ = 0;  // what would be sent
  Position pending_ = 0;  // what was sent and is not answered
  std::set<Position> doubtful_;
};

}  // namespace

base::Result<std::vector<Position>> earlier_bundles_in_doubt(const Store& store, const Leg& leg) {
  // By far most legs left once, and landed.
  if (leg.attempts == 0 || (leg.attempts == 1 && leg.state == LegState::kLanded)) {
    return std::vector<Position>();
  }
  Walk walk;
  Query query;
  query.session = leg.session;
  query.target = leg.target;
  query.limit = base::limits::kEventsCatchUpMax;
  while (true) {
    const auto records = store.search(query);
    if (!records) {
      return records.error();
    }
    for (const Record& record : *records) {
      if (record.revision == leg.revision) {
        walk.see(record);
      }
      query.after = record.position;
    }
    if (records->size() < query.limit) {
      break;
    }
  }
  std::vector<Position> out = walk.doubtful();
  std::erase(out, leg.bundle);
  return out;
}

namespace {

// By the last start before it. Then it was for others alone because of what it says.
base::Result<bool> was_there(const Store& store, std::string_view target, Position accepted) {
  Query query;
  query.kind = Kind::kStarted;
  query.newest_first = true;
  query.after = accepted;
  query.limit = 1;
  const auto starts = store.search(query);
  if (!starts) {
    return starts.error();
  }
  const auto named = target_names(starts->empty() ? "" : starts->front().targets);
  return std::find(named.begin(), named.end(), target) != named.end();
}

}  // namespace

base::Result<std::vector<Leg>> sent_to_others(const Store& store, const Leg& leg,
                                              std::span<const Leg> legs) {
  std::vector<Leg> out;
  std::uint32_t first = leg.revision;
  for (const Leg& one : legs) {
    if (one.target == leg.target && one.revision < leg.revision) {
      if (stands(one) && !is_doubtful(one)) {
        return out;
      }
      first = std::min(first, one.revision);
    }
  }
  for (const Leg& one : legs) {
    const bool may_be_there =
        one.state == LegState::kLanded || one.state == LegState::kDispatched || one.uncertain;
    if (one.target == leg.target || one.revision >= first || one.bundle == 0 || !may_be_there) {
      continue;
    }
    const auto there = was_there(store, leg.target, one.accepted);
    if (!there) {
      return there.error();
    }
    if (!*there) {
      out.push_back(one);
    }
  }
  return out;
}

}  // namespace engine::journal
