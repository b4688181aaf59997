#pragma once
// What a record server was given by the revisions before, from the bundles that were sent: needed
// where rendering those revisions again does not tell, because another mapping or profile set made
// them, or because nobody knows whether one of them arrived. Pure.

#include <cstdint>
#include <string_view>

#include "engine/json/document.h"

namespace engine::therapy {

struct SentState {
  // Each resource as last sent, those that were taken back left out:
  //   {"entry": [{"resource": {...}, "doubtful": true?, "status": "..."?}]}
  // References among them and statuses are those of a first send, so that it compares with what
  // maps make; `status` is what was sent, where that is another. `doubtful`: nobody knows whether
  // the last thing sent of it arrived. Provenance is no state and is left out.
  json::Node* resources = nullptr;
  bool in_doubt = false;       // of some of all that was sent nobody knows whether it arrived
  bool other_patient = false;  // some of it is about another patient than the last revision
  bool unreadable = false;     // what was given is no list of bundles: nobody knows what is there
  std::uint32_t revision =
      0;  // the latest earlier one that something was sent of; 0: none is named
};

// sent: Revision::sent_before. The state is made in `out`.
SentState sent_state(std::string_view sent, json::Document& out);

}  // namespace engine::therapy
