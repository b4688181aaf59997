#include "engine/delivery/consignment.h"

#include <algorithm>
#include <utility>

namespace engine::delivery {

base::Result<Consignment> load_consignment(const journal::Store& store, const journal::Leg& leg) {
  auto bundle = store.part(leg.bundle, "bundle");
  if (!bundle) {
    return std::move(bundle).error();
  }
  auto known = known_versions(store, leg);
  if (!known) {
    return std::move(known).error();
  }
  auto doubtful = has_doubtful_past(store, leg);
  if (!doubtful) {
    return std::move(doubtful).error();
  }
  auto given_up = doubtful_bundles(store, leg);
  if (!given_up) {
    return std::move(given_up).error();
  }
  const auto in_pieces = goes_in_pieces(store, leg);
  const auto whole = went_whole(store, leg, !given_up->empty());
  if (!in_pieces || !whole) {
    return in_pieces ? whole.error() : in_pieces.error();
  }
  Consignment out;
  if (leg.uncertain || !given_up->empty() || !known->empty()) {
    auto landed = landed_bundles(store, leg);
    if (!landed) {
      return std::move(landed).error();
    }
    out.landed = std::move(*landed);
  }
  out.doubtful_past = *doubtful || !given_up->empty();
  out.given_up = std::move(*given_up);
  out.in_pieces = *in_pieces;
  out.sent_whole = *whole;
  out.bundle = std::move(*bundle);
  out.known = std::move(*known);
  out.request_id =
      leg.session + "." + std::to_string(leg.revision) + "." + std::to_string(leg.attempts + 1);
  out.tries = leg.attempts;
  out.uncertain = leg.uncertain;
  return out;
}

}  // namespace engine::delivery
