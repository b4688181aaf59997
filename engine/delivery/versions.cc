#include "engine/delivery/versions.h"

#include <algorithm>
#include <limits>
#include <map>
#include <utility>
#include <vector>

#include "engine/delivery/conflict.h"
#include "engine/delivery/landing.h"
#include "engine/delivery/location.h"
#include "engine/journal/sent_bundles.h"
#include "engine/json/document.h"

namespace engine::delivery {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using journal::Leg;
using json::Document;
using json::Node;

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

// Held records of one leg that are looked at, newest first; a leg is held a few times at most.
constexpr std::size_t kHeldMax = 50;

Error corrupt(const char* what, journal::Position position) {
  return {ErrorCode::kCorrupt, what, "record " + std::to_string(position)};
}

Result<void> add_landing(const journal::Store& store, const Leg& leg, KnownVersions& known) {
  const auto bundle = store.part(leg.bundle, "bundle");
  const auto landing = store.part(leg.changed, "landing");
  for (const auto* part : {&bundle, &landing}) {
    if (!part->has_value()) {
      // What was destroyed on purpose cannot be compared: what is there is held, not overwritten.
      return part->error().code == ErrorCode::kNotFound ? Result<void>() : part->error();
    }
  }
  Document sent(names());
  const auto landed = parse_landing(*landing);
  if (!sent.parse(*bundle) || !landed) {
    return corrupt("a landing cannot be read", leg.changed);
  }
  const Node* entries = sent.root()->find("entry");
  std::size_t at = 0;
  for (const Node* entry = entries != nullptr ? entries->first : nullptr; entry != nullptr;
       entry = entry->next, ++at) {
    if (at == landed->size()) {
      return corrupt("a landing has fewer entries than its bundle", leg.changed);
    }
    const LandedEntry& row = (*landed)[at];
    if (row.not_sent) {
      continue;
    }
    KnownVersion version;
    version.resource = resource_of(row.location);
    const std::string etag = entity_tag_of(row.etag);
    version.etag = etag.empty() ? version_of(row.location) : etag;
    const Node* request = entry->find("request");
    if (request != nullptr && !version.resource.empty() &&
        type_of(version.resource) != type_of(request->string_at("url"))) {
      version = {};  // not where this landed, whatever the server said
    }
    version.unproven = row.unproven;
    known[std::string(entry->string_at("fullUrl"))] = std::move(version);
  }
  return {};
}

// A place that was named for two entries is that of neither: each is looked for by its identifier.
// Journals of engines that took such landings have them.
void forget_shared_places(KnownVersions& known) {
  std::map<std::string, int> times;
  for (const auto& one : known) {
    ++times[one.second.resource];
  }
  for (auto& one : known) {
    KnownVersion& version = one.second;
    if (times[version.resource] > 1) {
      version = {{}, {}, version.unproven, false, false};
    }
  }
}

// A person let it go while it was held so.
bool released(const std::vector<journal::Record>& releases, const journal::Record& hold,
              journal::Position next_hold) {
  return std::any_of(releases.begin(), releases.end(), [&](const journal::Record& release) {
    return release.revision == hold.revision && release.position > hold.position &&
           release.position < next_hold;
  });
}

// What the holds for a conflict found, each of which a person has released; the newest counts.
Result<void> add_shown(const journal::Store& store, const Leg& leg, KnownVersions& known) {
  journal::Query query;
  query.session = leg.session;
  query.target = leg.target;
  query.kind = journal::Kind::kHeld;
  query.newest_first = true;
  query.limit = kHeldMax;
  const auto holds = store.search(query);
  query.kind = journal::Kind::kReleased;
  const auto releases = store.search(query);
  if (!holds || !releases) {
    return holds ? releases.error() : holds.error();
  }
  KnownVersions shown;
  bool unseen = false;
  journal::Position next_hold = std::numeric_limits<journal::Position>::max();
  for (const journal::Record& hold : *holds) {
    if (hold.revision != leg.revision) {
      continue;
    }
    const journal::Position later = std::exchange(next_hold, hold.position);
    const bool let_go = released(*releases, hold, later);
    unseen = unseen || (hold.reason == kNotReadable && let_go);
    if (hold.reason == "changed-elsewhere" && let_go) {
      const auto text = store.part(hold.position, "conflict");
      if (!text && text.error().code == ErrorCode::kNotFound) {
        continue;  // destroyed, as above
      }
      const auto conflicts =
          text ? parse_conflicts(*text) : Result<std::vector<Conflict>>(text.error());
      if (!conflicts) {
        return conflicts.error();
      }
      for (const Conflict& one : *conflicts) {
        shown.emplace(one.full_url, KnownVersion{one.resource, one.found, false, true, one.gone});
      }
    }
  }
  for (auto& [full_url, version] : known) {
    version.shown = version.shown || (unseen && !version.etag.empty());
  }
  for (auto& [full_url, version] : shown) {
    known[full_url] = std::move(version);
  }
  return {};
}

Result<std::vector<Leg>> all_legs(const journal::Store& store, const Leg& leg) {
  return leg.revision < 2 ? Result<std::vector<Leg>>({}) : store.legs(leg.session);
}

Result<std::vector<Leg>> earlier_legs(const journal::Store& store, const Leg& leg) {
  std::vector<Leg> out;
  auto legs = all_legs(store, leg);
  if (!legs) {
    return std::move(legs).error();
  }
  for (Leg& one : *legs) {
    if (one.target == leg.target && one.revision < leg.revision) {
      out.push_back(std::move(one));
    }
  }
  return out;
}

Result<void> add_bundle(const journal::Store& store, journal::Position position,
                        std::vector<std::string>& out) {
  auto bundle = store.part(position, "bundle");
  if (!bundle) {
    const bool destroyed = bundle.error().code == ErrorCode::kNotFound;
    return destroyed ? Result<void>() : std::move(bundle).error();
  }
  out.push_back(std::move(*bundle));
  return {};
}

}  // namespace

Result<KnownVersions> known_versions(const journal::Store& store, const Leg& leg) {
  KnownVersions known;
  const auto legs = earlier_legs(store, leg);
  if (!legs) {
    return legs.error();
  }
  for (const Leg& earlier : *legs) {
    if (earlier.state == journal::LegState::kLanded) {
      if (auto added = add_landing(store, earlier, known); !added) {
        return std::move(added).error();
      }
    }
  }
  forget_shared_places(known);
  if (leg.attempts > 0) {
    if (auto added = add_shown(store, leg, known); !added) {
      return std::move(added).error();
    }
  }
  return known;
}

Result<bool> has_doubtful_past(const journal::Store& store, const Leg& leg) {
  const auto legs = earlier_legs(store, leg);
  if (!legs) {
    return legs.error();
  }
  return std::any_of(legs->begin(), legs->end(), [](const Leg& one) {
    return one.attempts > 0 && one.state == journal::LegState::kWithdrawn;
  });
}

Result<std::vector<std::string>> landed_bundles(const journal::Store& store, const Leg& leg) {
  const auto legs = earlier_legs(store, leg);
  if (!legs) {
    return legs.error();
  }
  std::vector<std::string> out;
  for (auto one = legs->rbegin(); one != legs->rend(); ++one) {
    if (one->state == journal::LegState::kLanded) {
      if (auto added = add_bundle(store, one->bundle, out); !added) {
        return std::move(added).error();
      }
    }
  }
  return out;
}

Result<std::vector<std::string>> doubtful_bundles(const journal::Store& store, const Leg& leg) {
  auto legs = earlier_legs(store, leg);
  if (!legs) {
    return std::move(legs).error();
  }
  legs->push_back(leg);
  std::vector<std::string> out;
  for (auto one = legs->rbegin(); one != legs->rend(); ++one) {
    auto positions = journal::earlier_bundles_in_doubt(store, *one);
    if (!positions) {
      return std::move(positions).error();
    }
    if (journal::is_doubtful(*one) && one->bundle != 0) {
      positions->push_back(one->bundle);
    }
    for (auto position = positions->rbegin(); position != positions->rend(); ++position) {
      if (auto added = add_bundle(store, *position, out); !added) {
        return std::move(added).error();
      }
    }
  }
  const auto all = all_legs(store, leg);
  if (!all) {
    return all.error();
  }
  const auto others = journal::sent_to_others(store, leg, *all);
  if (!others) {
    return others.error();
  }
  for (auto one = others->rbegin(); one != others->rend(); ++one) {
    if (auto added = add_bundle(store, one->bundle, out); !added) {
      return std::move(added).error();
    }
  }
  return out;
}

}  // namespace engine::delivery
