#pragma once
// Which bundles of a revision left for its target. A revision that is translated again after a try
// may have left as another bundle before, and that one may be what is there.

#include <span>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::journal {

// The records of the bundles other than Leg::bundle that were sent and may have been taken, oldest
// first. Errors: of the store.
base::Result<std::vector<Position>> earlier_bundles_in_doubt(const Store& store, const Leg& leg);

// Of a session that came when its target was not there yet: the legs of other targets, by revision,
// of which something is or may be there. The target may be one of these by another name, or a
// server to which all that was sent again; nobody wrote that down. None when the target has earlier
// revisions of its own, and nothing of theirs is in doubt: the first of these had to do with it.
// A target that was configured then, and that the revision was not for, is none of these either.
// Errors: of the store.
base::Result<std::vector<Leg>> sent_to_others(const Store& store, const Leg& leg,
                                              std::span<const Leg> legs);

}  // namespace engine::journal
