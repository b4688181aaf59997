#pragma once
// What a revision does to what was sent before, found by comparing what the revisions before it
// make with what it makes: new resources are created, unchanged ones left alone, changed ones
// updated as corrected (amended when something was only added), vanished ones entered in error.
// Nothing here knows a kind or a map. Source: docs/session-document.md, FHIR R4 observation-status
// and event-status.

#include <cstdint>
#include <string_view>

#include "engine/therapy/rendering.h"

namespace engine::therapy {

struct ChangeCounts {
  std::uint32_t created = 0;
  std::uint32_t updated = 0;
  std::uint32_t withdrawn = 0;
  bool attested = false;  // somebody stands for entries for which nobody did before
  bool any() const { return attested || created + updated + withdrawn != 0; }
};

// Turns the Bundle of `now` into the transaction for its revision: statuses, fullUrls, requests,
// and references to resources that are not in it. before: the rendering of the revisions before
// the last; nullptr for a first send.
ChangeCounts apply_changes(Rendering& now, Rendering* before, Report& report);

// Adds the Provenance of the revision. Errors: as mapping::Run::call.
base::Result<void> add_provenance(Rendering& now, const Workshop& shop, const ChangeCounts& counts,
                                  std::string_view accepted_at, std::uint32_t revises);

}  // namespace engine::therapy
