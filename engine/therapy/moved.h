#pragma once
// A session that was recorded on the wrong patient, as two documents: the revision that takes all
// of it back there, and the session that is entered anew for the right patient. Pure.
// Source: FHIR R4 observation-status and event-status (entered-in-error keeps identifiers and
// content; nothing is deleted), docs/session-document.md.

#include <cstdint>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/therapy/translate.h"

namespace engine::therapy {

struct Workshop;

struct Move {
  std::string patient;    // "SYSTEM|VALUE" of the right one
  std::string encounter;  // likewise of the stay; empty: none is named
  std::string as;         // identifier.value of the new session; empty: the old one and "-moved"
  // JSON object with what else is known of the right patient: any of patient, order, earlier,
  // breathingSet, each as in a session document. Empty: nothing.
  std::string known;
  std::string actor;               // who moves it
  std::string role = "therapist";  // in which role, as of any person in a session document
  std::string why;                 // lands in both charts
  std::string time;                // FHIR instant
};

// What a journal has of the session that is moved.
struct Movable {
  // What it says: the revisions that nobody gave up, oldest first. Never empty.
  std::vector<Revision> said;
  // The last that each record server was sent, or is about to be: whose chart it is on. Newest
  // first.
  std::vector<Revision> charted;
  // What may be on a chart although it was given up, newest first.
  std::vector<Revision> in_doubt;
  std::uint32_t next = 0;  // the number of the revision that takes it back
};

struct Moved {
  std::string taken_back;  // the next revision of the session, entered-in-error
  std::string entered;     // revision 1 of the new one
};

// What belongs to the wrong patient stays behind: birth date, size, baseline, order, earlier
// values, sets of the day, and attestations, since whoever attested stood for entries on that
// chart. What takes it back is for the patient of the chart that it is on, whomever the session
// names by now. Errors: kInvalid (an identifier without system or value, `known` is not such an
// object, no chart but that of this patient has it), kConflict (it says that it should never have
// been), kCorrupt (a revision that cannot be read).
base::Result<Moved> move_session(const Movable& session, const Move& move, const Workshop& shop);

}  // namespace engine::therapy
