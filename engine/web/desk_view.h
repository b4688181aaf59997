#pragma once
// What the desk pages read of the journal, as JSON: the messages that fit a search, one message
// with everything that became of it, the log. Who calls message_view() or log_view() journals the
// reading: both hold what patients' records hold.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::web {

// Each condition is off when it is empty.
struct DeskSearch {
  std::string session;    // its id
  std::string patient;    // as the journal hides the identifier
  std::string therapist;  // likewise
  std::string target;
  std::optional<journal::LegState> state;  // of the revision, for one of its targets
  std::optional<journal::Kind> kind;       // of records; log_view() only
  std::string since;                       // FHIR instants, since <= time < until
  std::string until;
  journal::Position before = 0;  // only what was journalled before it; 0: the end
};

// {"messages":[{"session","revision","received","position","targets":[...]}],"next"}: accepted
// revisions, the latest first, at most limits::kTrafficMax. `next`, when there may be more, is what
// to ask on with as `before`. Errors: of the store.
base::Result<std::string> messages_view(const journal::Store& store, const DeskSearch& search);

// {"session","revision","received","document","targets":[{"target","state",...,"bundle","lineage",
// "outcome","answer","landing"}],"records":[...],"left":[...]}. The parts of a target are the
// latest of their kind; of a message that was destroyed on purpose there is `destroyed`, a
// sentence, in place of `document`, and no parts. `answer` is the server's text, the others JSON.
// `left` names parts that would make the answer larger than limits::kHistoryBytesMax. Errors:
// kNotFound, of the store.
base::Result<std::string> message_view(const journal::Store& store, std::string_view session,
                                       std::uint32_t revision);

// {"records":[{"position","time","kind",...,"actor","why"}],"next"}: the latest first, at most
// limits::kTrafficMax. Errors: of the store.
base::Result<std::string> log_view(const journal::Store& store, const DeskSearch& search);

}  // namespace engine::web
