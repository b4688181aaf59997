#pragma once
// From a leg that waits to be translated to the record of what came of it. Also what replay does
// again, from the same stored input, to prove that nothing else went into a bundle.

#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/intake/session_core.h"
#include "engine/journal/store.h"

namespace engine::intake {

// The earlier revisions that a revision for a target builds on, and itself last: those that landed
// or are still to. What was given up says nothing any more, also when it may have landed; what it
// may have put there, its bundles tell. Superseded ones, and those that were not for the target,
// are the unsent.
Basis basis_of(const journal::Leg& leg, std::span<const journal::Leg> legs,
               std::span<const journal::Acceptance> known);
// Whether the target has something of an earlier revision, may have it, or is still to get it.
bool follows_another(const journal::Leg& leg, std::span<const journal::Leg> legs);

// What becomes of an unsent one whose document was destroyed: it may have named a patient whose
// bodies were, which is no reason never to correct the session again.
enum class Lost : std::uint8_t { kError, kMarked };
// The documents as sent and the times they were taken in. Errors: kNotFound, kCorrupt, kIo.
base::Result<std::vector<therapy::Revision>> load_revisions(const journal::Store& store,
                                                            std::string_view session,
                                                            const Basis& basis, Lost lost);

// The reason of a leg whose document the set in force for its target does not admit, though that
// of its day admitted it, or that of the engine. Nothing is made of it, so nothing is sent.
inline constexpr std::string_view kNotAdmitted = "not-admitted";

// Why it is held; "" when it is ready.
std::string reason_of(const therapy::Translation& made);
// Likewise of a record (checked or held) of a translation.
std::string reason_of(const journal::Record& made);

// The part of a translation's record that has what was sent before it, where that had to be known:
// Revision::sent_before.
inline constexpr const char* kSentBefore = "before";
// What a translation's record was made of. Errors: as load_revisions(); none when the record does
// not say.
base::Result<std::vector<therapy::Revision>> load_basis(const journal::Store& store,
                                                        const journal::Record& made);

// The record (checked or held) with its parts, ready to be written.
base::Result<journal::Change> translate_leg(const journal::Store& store, const SessionCore& core,
                                            const journal::Leg& leg,
                                            std::span<const journal::Leg> legs);

}  // namespace engine::intake
