#include "engine/delivery/away.h"

#include <algorithm>
#include <map>
#include <utility>

#include "engine/base/limits.h"
#include "engine/journal/target_names.h"

namespace engine::delivery {

using base::Result;
using journal::Kind;
using journal::Leg;
using journal::LegState;
using journal::Position;
using journal::Record;
using journal::Store;

namespace {

bool has(const std::vector<std::string>& names, std::string_view name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

// The target has an earlier revision, or is to get one, and not this one.
bool misses(const std::vector<Leg>& legs, std::string_view target, std::uint32_t revision) {
  bool earlier = false;
  for (const Leg& leg : legs) {
    if (leg.target != target) {
      continue;
    }
    if (leg.revision >= revision) {
      return false;
    }
    earlier = earlier || journal::stands(leg);
  }
  return earlier;
}

// Nothing of it is to come anywhere any more: a person gave it up, or a later one carries it.
bool ended_everywhere(const std::vector<Leg>& legs, std::uint32_t revision) {
  bool any = false;
  for (const Leg& leg : legs) {
    if (leg.revision == revision) {
      if (journal::stands(leg) && leg.state != LegState::kWithdrawn) {
        return false;
      }
      any = true;
    }
  }
  return any;
}

// The session that was moved here, and is taken back there, is one that the target has.
Result<bool> comes_with_a_move(const Store& store, const Record& here, std::string_view target) {
  const auto away = store.head(here.position - 1);  // both halves are written together
  if (!away) {
    return away.error();
  }
  const auto before = store.legs(away->record.session);
  const auto own = before ? store.legs(here.session) : before.error();
  if (!own) {
    return own.error();
  }
  const auto is_there = [&](const std::vector<Leg>& legs) {
    return std::any_of(legs.begin(), legs.end(), [&](const Leg& leg) {
      return leg.target == target && journal::stands(leg);
    });
  };
  return away->record.reason == journal::kMovedAway && is_there(*before) &&
         std::none_of(own->begin(), own->end(),
                      [&](const Leg& leg) { return leg.target == target; });
}

// The change for an accepted record, when one is called for.
Result<std::optional<journal::Change>> change_for(const Store& store, const Record& accepted,
                                                  const std::string& target,
                                                  const std::string& actor) {
  using Out = std::optional<journal::Change>;
  const bool moved_here = accepted.reason == journal::kMovedHere;
  if ((accepted.revision < 2 && !moved_here) ||
      has(journal::target_names(accepted.targets), target)) {
    return Out();
  }
  const auto legs = store.legs(accepted.session);
  const auto called = !legs        ? Result<bool>(legs.error())
                      : moved_here ? comes_with_a_move(store, accepted, target)
                                   : misses(*legs, target, accepted.revision);
  if (!called || !*called) {
    return called ? Result<Out>(Out()) : called.error();
  }
  if (ended_everywhere(*legs, accepted.revision)) {
    return Out();
  }
  journal::Change change;
  change.record.kind = Kind::kAlsoFor;
  change.record.session = accepted.session;
  change.record.revision = accepted.revision;
  change.record.target = target;
  change.record.patient = accepted.patient;
  change.record.therapist = accepted.therapist;
  change.record.reason = "came-while-away";
  change.record.actor = actor;
  return Out(std::move(change));
}

}  // namespace

Result<std::vector<std::string>> last_configured(const Store& store) {
  const auto found = store.newest(Kind::kStarted);
  if (!found) {
    return found.error();
  }
  return found->has_value() ? journal::target_names((*found)->targets) : std::vector<std::string>();
}

std::vector<GoneTarget> gone_targets(const std::vector<Store::Count>& counts,
                                     const std::vector<std::string>& configured) {
  std::map<std::string, GoneTarget> found;
  for (const Store::Count& count : counts) {
    if (!has(configured, count.target)) {
      GoneTarget& one = found[count.target];
      one.name = count.target;
      (count.state == LegState::kHeld ? one.held : one.waiting) += count.legs;
    }
  }
  std::vector<GoneTarget> out;
  for (auto& [name, one] : found) {
    out.push_back(std::move(one));
  }
  return out;
}

Result<std::optional<Position>> away_since(const Store& store, std::string_view target,
                                           const base::Clock& clock) {
  const std::string engine = store.engine();
  const std::string settled = base::to_instant(clock.now() - base::limits::kRollingRestart);
  std::optional<Position> since;
  journal::Query query;
  query.kind = Kind::kStarted;
  query.newest_first = true;
  query.limit = 1;  // the last one decides nearly always
  while (true) {
    const auto starts = store.search(query);
    if (!starts) {
      return starts.error();
    }
    for (const Record& start : *starts) {
      if (!has(journal::target_names(start.targets), target)) {
        since = start.position;
      } else if (engine.empty() || start.actor.ends_with(" " + engine) || start.time < settled) {
        return since;
      }
    }
    if (starts->size() < query.limit) {
      return since;
    }
    query.after = starts->back().position;
    query.limit = base::limits::kEventsCatchUpMax;
  }
}

Result<std::size_t> catch_up(Store& store, const base::Clock& clock, const std::string& target,
                             Position since, const std::string& actor) {
  journal::Query query;
  query.kind = Kind::kAccepted;
  query.after = since;
  query.limit = base::limits::kEventsCatchUpMax;
  std::size_t written = 0;
  std::vector<journal::Change> batch;
  const auto flush = [&]() -> Result<void> {
    written += batch.size();
    const auto done =
        batch.empty() ? Result<std::vector<journal::Outcome>>({}) : store.commit(batch, clock);
    batch.clear();
    return done ? Result<void>() : done.error();
  };
  while (true) {
    const auto accepted = store.search(query);
    if (!accepted) {
      return accepted.error();
    }
    for (const Record& one : *accepted) {
      auto change = change_for(store, one, target, actor);
      if (!change) {
        return std::move(change).error();
      }
      if (*change) {
        batch.push_back(std::move(**change));
      }
      // What follows a session's first one there is asked about what is written.
      if (one.reason == journal::kMovedHere) {
        if (auto done = flush(); !done) {
          return std::move(done).error();
        }
      }
    }
    if (auto done = flush(); !done) {
      return std::move(done).error();
    }
    if (accepted->size() < query.limit) {
      return written;
    }
    query.after = accepted->back().position;
  }
}

}  // namespace engine::delivery
