#include "engine/delivery/pieces.h"

#include <algorithm>
#include <cstdint>

#include "engine/base/limits.h"
#include "engine/json/document.h"

namespace engine::delivery {
namespace {

// A record of the leg's session with this reason, of the revisions from `first` to the leg's; not
// the one that it was read or written with.
base::Result<bool> has(const journal::Store& store, const journal::Leg& leg, std::uint32_t first,
                       journal::Kind kind, std::string_view reason) {
  journal::Query query;
  query.session = leg.session;
  query.target = leg.target;
  query.kind = kind;
  query.limit = base::limits::kEventsCatchUpMax;
  while (true) {
    const auto records = store.search(query);
    if (!records) {
      return records.error();
    }
    if (std::any_of(records->begin(), records->end(), [&](const journal::Record& one) {
          return one.revision >= first && one.revision <= leg.revision && one.reason == reason &&
                 one.position != leg.changed;
        })) {
      return true;
    }
    if (records->size() < query.limit) {
      return false;
    }
    query.after = records->back().position;
  }
}

}  // namespace

void SizeRefusals::note(BundleSize refused) {
  const bool first = least_.bytes == 0;
  least_.bytes = first ? refused.bytes : std::min(least_.bytes, refused.bytes);
  least_.entries = first ? refused.entries : std::min(least_.entries, refused.entries);
}

bool SizeRefusals::covers(BundleSize size) const {
  return least_.bytes > 0 && size.bytes >= least_.bytes && size.entries >= least_.entries;
}

base::Result<bool> goes_in_pieces(const journal::Store& store, const journal::Leg& leg) {
  return leg.attempts > 0 ? has(store, leg, leg.revision, journal::Kind::kAnswered, kTooLarge)
                          : false;
}

base::Result<bool> went_whole(const journal::Store& store, const journal::Leg& leg, bool earlier) {
  const std::uint32_t first = earlier ? 1 : leg.revision;
  if (leg.attempts == 0 && !earlier) {
    return true;
  }
  const auto pieces = has(store, leg, first, journal::Kind::kAnswered, kTooLarge);
  if (!pieces || *pieces) {
    return pieces ? base::Result<bool>(false) : pieces;
  }
  const auto steps = has(store, leg, first, journal::Kind::kDispatched, kInSteps);
  return steps ? base::Result<bool>(!*steps) : steps;
}

std::string too_large_sentence(const journal::Store& store, const journal::Leg& leg) {
  if (leg.state != journal::LegState::kHeld || leg.reason != kTooLarge) {
    return {};
  }
  const auto outcome = store.part(leg.changed, "outcome");
  const json::NameTable names;
  json::Document document(names);
  if (!outcome || !document.parse(*outcome)) {
    return {};
  }
  const json::Node* issues = document.root()->find("issue");
  const json::Node* first = issues != nullptr && issues->is_array() ? issues->first : nullptr;
  const json::Node* details = first != nullptr ? first->find("details") : nullptr;
  return details != nullptr ? std::string(details->string_at("text")) : std::string();
}

}  // namespace engine::delivery
