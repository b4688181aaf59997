#include "engine/delivery/away.h"

#include <algorithm>
#include <map>
#include <utility>

#include "engine/base/limits.h"

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

// The change for an accepted record, when one is called for.
Result<std::optional<journal::Change>> change_for(const Store& store, const Record& accepted,
                                                  const std::string& target,
                                                  const std::string& actor) {
  using Out = std::optional<journal::Change>;
  if (accepted.revision < 2 || has(names_of(accepted.targets), target)) {
    return Out();
  }
  const auto legs = store.legs(accepted.session);
  if (!legs || !misses(*legs, target, accepted.revision)) {
    return legs ? Result<Out>(Out()) : legs.error();
  }
  const auto known = store.acceptances(accepted.session);
  if (!known || known->empty() || known->back().revision != accepted.revision) {
    return known ? Result<Out>(Out()) : known.error();  // a later one comes along
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

std::vector<std::string> names_of(std::string_view targets) {
  std::vector<std::string> out;
  while (!targets.empty()) {
    const std::size_t comma = std::min(targets.find(','), targets.size());
    out.emplace_back(targets.substr(0, comma));
    targets.remove_prefix(std::min(comma + 1, targets.size()));
  }
  return out;
}

Result<std::vector<std::string>> last_configured(const Store& store) {
  const auto found = store.newest(Kind::kStarted);
  if (!found) {
    return found.error();
  }
  return found->has_value() ? names_of((*found)->targets) : std::vector<std::string>();
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
      if (!has(names_of(start.targets), target)) {
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
  while (true) {
    const auto accepted = store.search(query);
    if (!accepted) {
      return accepted.error();
    }
    std::vector<journal::Change> batch;
    for (const Record& one : *accepted) {
      auto change = change_for(store, one, target, actor);
      if (!change) {
        return std::move(change).error();
      }
      if (*change) {
        batch.push_back(std::move(**change));
      }
    }
    if (!batch.empty()) {
      written += batch.size();
      if (const auto done = store.commit(batch, clock); !done) {
        return done.error();
      }
    }
    if (accepted->size() < query.limit) {
      return written;
    }
    query.after = accepted->back().position;
  }
}

}  // namespace engine::delivery
