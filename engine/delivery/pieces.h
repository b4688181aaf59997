#pragma once
// Sessions that are too large for a record server as a whole. A transaction that is refused for its
// size goes again one resource at a time (carriage.h); that it does is in the journal before the
// first of them leaves, so that whoever sends the rest after a crash knows that a part may be
// there.

#include <cstddef>
#include <string>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::delivery {

// The reason of the answered record with which a leg begins to go in pieces, and of the held one of
// a leg with a single resource that is too large.
inline constexpr const char* kTooLarge = "too-large";

// The reason of a dispatched record: not as one transaction, because the server takes none.
inline constexpr const char* kInSteps = "in-steps";

struct BundleSize {
  std::size_t bytes = 0;
  std::size_t entries = 0;
};

// What a target refused for its size. In memory: after a start the first one is tried again.
class SizeRefusals {
 public:
  void note(BundleSize refused);
  // Surely no smaller than something that was refused. Which of the two was too much nobody says,
  // so each counts only as far as it was ever refused.
  bool covers(BundleSize size) const;

 private:
  BundleSize least_;  // of each; 0: nothing was refused
};

// Whether a try of this leg was refused for its size: it goes in pieces from then on, whatever
// becomes of the bundle. Errors: of the store.
base::Result<bool> goes_in_pieces(const journal::Store& store, const journal::Leg& leg);
// Whether every try of this leg went as one transaction, before the one that `leg` knows as its
// last change, and, with `earlier`, those of earlier revisions. Errors: of the store.
base::Result<bool> went_whole(const journal::Store& store, const journal::Leg& leg, bool earlier);

// One sentence about what a leg that is held for its size fails at, for people; "" when the journal
// has none.
std::string too_large_sentence(const journal::Store& store, const journal::Leg& leg);

}  // namespace engine::delivery
