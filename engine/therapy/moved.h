#pragma once
// A session that was recorded on the wrong patient, as two documents: the revision that takes all
// of it back there, and the session that is entered anew for the right patient. Pure.
// Source: FHIR R4 observation-status and event-status (entered-in-error keeps identifiers and
// content; nothing is deleted), docs/session-document.md.

#include <span>
#include <string>

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

struct Moved {
  std::string taken_back;  // the next revision of the session, entered-in-error
  std::string entered;     // revision 1 of the new one
};

// What belongs to the wrong patient stays behind: birth date, size, baseline, order, earlier
// values, sets of the day, and attestations, since whoever attested stood for entries on that
// chart. revisions: those that the session's last state is made of, oldest first, each admitted
// before. Errors: kInvalid (an identifier without system or value, `known` is not such an object,
// the patient is the one it has), kCorrupt (a revision that cannot be read).
base::Result<Moved> move_session(std::span<const Revision> revisions, const Move& move,
                                 const Workshop& shop);

}  // namespace engine::therapy
