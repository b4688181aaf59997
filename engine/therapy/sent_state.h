#pragma once
// What a record server was given by the revisions before, from the bundles that were sent: needed
// where rendering those revisions again does not tell, because another mapping or profile set made
// them, or because nobody knows whether one of them arrived. Pure.

#include <string_view>

#include "engine/json/document.h"

namespace engine::therapy {

// Each resource as last sent, those that were taken back left out, as the root of `out`:
//   {"entry": [{"resource": {...}, "doubtful": true?, "status": "..."?}], "doubtful": true?}
// References among them and statuses are those of a first send, so that it compares with what maps
// make; `status` is what was sent, where that is another. `doubtful`: nobody knows whether the last
// thing sent of it, or of all that was sent something, arrived. Provenance is no state
// and is left out. sent: Revision::sent_before; what is no bundle there counts for nothing.
json::Node* sent_state(std::string_view sent, json::Document& out);

}  // namespace engine::therapy
