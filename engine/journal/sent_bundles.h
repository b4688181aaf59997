#pragma once
// Which bundles of a revision left for its target. A revision that is translated again after a try
// may have left as another bundle before, and that one may be what is there.

#include <vector>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::journal {

// The records of the bundles other than Leg::bundle that were sent and may have been taken, oldest
// first. Errors: of the store.
base::Result<std::vector<Position>> earlier_bundles_in_doubt(const Store& store, const Leg& leg);

}  // namespace engine::journal
