#pragma once
// What the API tells about sessions, as JSON. States and reason codes only; what holds patients'
// data (the outcome of a held one) is in a view of its own, whose reading is journalled.

#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::web {

// {"session","state","reason","revisions":[{"revision","received","position","reason","targets":[{"target","state","reason",
// "reasonText","attempts","next","landing"}]}]}. `state` is the latest revision's. Errors:
// kNotFound, kIo, kCorrupt.
base::Result<std::string> session_view(const journal::Store& store, std::string_view session);

// The OperationOutcome behind a held leg: of the translation, or the server's answer. Errors:
// kNotFound ...
base::Result<std::string> outcome_view(const journal::Store& store, std::string_view session);

// [{"session","revision","received","targets":[...]}], the latest acceptances first.
base::Result<std::string> traffic_view(const journal::Store& store, std::size_t limit);

// {"sessions":[{"session","revision","received","state","document":{...}}],"more"}: the latest
// revision of each session of a patient (as the journal hides the name), the latest session first.
// `more` tells that some were left out. Reading it is journalled by the caller.
base::Result<std::string> history_view(const journal::Store& store, std::string_view patient);

// One record as an event's data.
std::string record_view(const journal::Record& record);

}  // namespace engine::web
