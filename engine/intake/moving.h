#pragma once
// A session that was taken in for the wrong patient goes to the right one: two acceptances that are
// written together or not at all, the one that takes everything back and the one that enters it
// anew. Each then lands like any other revision.

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/intake/session_core.h"
#include "engine/intake/target.h"
#include "engine/journal/search_key.h"
#include "engine/journal/store.h"

namespace engine::intake {

// The changes to commit as one batch, and the id of the new session.
struct Moving {
  std::vector<journal::Change> changes;
  std::string entered;
  // Revisions of the old session that were given up: what they said is not in the new one.
  std::vector<std::uint32_t> left_out;
};

// Whether an accepted record is that by which a move took a session back. One that cannot be read
// any more is known by the one behind it. Errors: kIo, kNotFound.
base::Result<bool> is_moved_away(const journal::Store& store, journal::Position accepted);

// session: its id. The new one says what the old one says by all revisions that nobody gave up,
// also by those that are held; the old one is taken back from the patient whose chart it is on,
// also when a revision that is held names another. Errors: kNotFound (no such session), kConflict
// (it was moved or taken back before, or the new session is there already), kInvalid (actor, reason
// or what is asked for; a document that this core would refuse), as therapy::move_session, kIo,
// kCorrupt. `targets`: for whom the new session may be meant, with conditions of this core; none:
// it goes where the old one went. What takes the old one back always does, and it goes
// to those, too, that may have been given what is there: meant for the session and without anything
// of it, or configured where one that has it is not any more.
base::Result<Moving> move_to_patient(const journal::Store& store, const SessionCore& core,
                                     const journal::SearchKey& key, const std::string& session,
                                     const therapy::Move& wanted,
                                     std::span<const Target> targets = {});

// What became of the batch, in words. Errors: kConflict when another revision came in between, or
// the new identifier was taken.
base::Result<void> check_moved(const std::vector<journal::Outcome>& outcomes);

}  // namespace engine::intake
