#pragma once
// A later revision of a session changes resources that an earlier one landed. Each change names the
// version that it changes (FHIR R4 http.html, managing resource contention), so that what somebody
// else wrote on the server in the meantime is noticed and never overwritten. The versions come from
// the journal: from the landings before, and from what a person was shown before a release.

#include <cstddef>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::delivery {

// The reason of a held one at a server that does not show what is there to be written over, or to
// be looked for because an earlier revision is in doubt.
inline constexpr const char* kNotReadable = "not-readable";

struct KnownVersion {
  std::string resource;   // "Observation/17"
  std::string etag;       // W/"2"; empty when the server names none
  bool unproven = false;  // it may not be ours that is there: to be looked at before a write
  bool shown = false;     // a person saw this version and let the leg go
  bool gone = false;      // it is not there: deleted, when it was shown
};
// By fullUrl, which is the same in every revision of a session.
using KnownVersions = std::map<std::string, KnownVersion, std::less<>>;

// What earlier revisions landed for the leg's target. For a leg that a person released after it was
// held for a conflict: what that person was shown; after the server had shown nothing, all that is
// known counts as shown.
// Errors: kIo, kCorrupt of the journal.
base::Result<KnownVersions> known_versions(const journal::Store& store, const journal::Leg& leg);

// Whether an earlier revision was given up although the server may have taken it: then what is
// found there need not be this leg's.
// Errors: kIo of the journal.
base::Result<bool> has_doubtful_past(const journal::Store& store, const journal::Leg& leg);

// What earlier revisions landed for the leg's target, the newest first; what was destroyed on
// purpose is left out. Errors: kIo, kCorrupt of the journal.
base::Result<std::vector<std::string>> landed_bundles(const journal::Store& store,
                                                      const journal::Leg& leg);

// What was sent of such revisions, or of this and others before they were translated again, or to
// other targets before this one was there (journal/sent_bundles.h), and may have arrived, the
// newest first; what was destroyed on purpose is left out. Errors: kIo, kCorrupt of the journal.
base::Result<std::vector<std::string>> doubtful_bundles(const journal::Store& store,
                                                        const journal::Leg& leg);

}  // namespace engine::delivery
