#pragma once
// What an auditor asks of a journal, answered from its records and the documents it holds: where a
// patient's sessions went and who read them, what a person did, what corrections changed, how long
// a treatment took into the record. Reads only; the caller writes down who asked. Records are
// visited page by page in their order, so that memory does not grow with the journal.

#include <cstdint>
#include <functional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/store.h"
#include "engine/replay/replay.h"

namespace engine::replay {

// Records within the question that cannot be read any more: what they say is in no report.
using Unread = std::set<journal::Position>;

// One thing that happened to a patient's session beyond this engine.
struct Disclosure {
  enum class What : std::uint8_t {
    kLanded,    // the target has it
    kPerhaps,   // sent; the target may have it although no answer said so
    kNotTaken,  // sent; the target said that it did not take it
    kRead,      // somebody looked at it here
    kResend,    // somebody sent what landed to another server, which the reason names
  };
  What what = What::kLanded;
  journal::Record record;
};
std::string_view name_of(Disclosure::What what);

// Of the sessions of a patient, given as SearchKey::hide() names them, session by session. A read
// that names no session (a search, a history) comes last. Errors: kIo, kCorrupt.
using OnDisclosure = std::function<void(const Disclosure&)>;
base::Result<Unread> disclosures(const journal::Store& store, const std::string& patient,
                                 const Range& range, const OnDisclosure& visit);

// A person by what the journal knows of them; one of the two, or both.
struct Person {
  std::string therapist;  // as SearchKey::hide() names them: entered sessions
  // By which they did something (released, read, paused ...), signed in or on a command line
  // (journal::goes_by). The whole of what a record says of who did it is one too.
  std::string actor;
};
// `why` is the record's, or the reason that a later revision's document gives for its change.
using OnAct = std::function<void(const journal::Record& record, const std::string& why)>;
base::Result<Unread> activity(const journal::Store& store, const Person& person, const Range& range,
                              const OnAct& visit);

// One element that two revisions of a session do not have in common. Texts are JSON, shortened.
struct ElementChange {
  std::string path;    // "entry[walk-1].walk.distance.value"
  std::string before;  // "": was not there
  std::string after;   // "": is not there any more
};
struct Correction {
  journal::Record record;  // the acceptance
  // The revision it is compared with: the last before it that landed, or may have or may still;
  // when there is none, the last that was taken in.
  std::uint32_t earlier = 0;
  std::set<std::string> patients;  // whose readings it shows, hidden: the session's
  std::string states;              // what became of it, by target: "main landed, second held"
  std::string reason;
  std::string author;  // of the change; the session's therapist when the document names none
  std::vector<ElementChange> changes;  // at most limits::kIssuesMax
  std::size_t more = 0;                // that many are left out
};
// Compared is what all revisions that stand say together: an entry that one leaves out stays.
// Later revisions that change or withdraw something, or say that they do; not those that only add
// to a session that goes on. `patient` as above, or "" for all.
using OnCorrection = std::function<void(const Correction&)>;
base::Result<Unread> corrections(const journal::Store& store, const std::string& patient,
                                 const Range& range, const OnCorrection& visit);

// The elements in which two documents differ. Items of arrays that have an `id` are compared by it,
// others by their place. Errors: kInvalid, kLimit when one is no JSON.
base::Result<std::vector<ElementChange>> document_changes(std::string_view before,
                                                          std::string_view after);

}  // namespace engine::replay
