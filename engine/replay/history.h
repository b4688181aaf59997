#pragma once
// Walks the translations of a journal in order and has them done again on several threads. For this
// folder.

#include <functional>
#include <optional>
#include <string>

#include "engine/base/result.h"
#include "engine/intake/session_core.h"
#include "engine/journal/store.h"
#include "engine/replay/replay.h"

namespace engine::replay {

// A translation as journalled.
struct Journalled {
  journal::Record record;
  std::string bundle;   // empty when none is kept
  std::string lineage;  // likewise
  std::string outcome;  // likewise
};

// Calls `compare` for each translation of the range with what the core makes of the same documents;
// kCorrupt where they or what was made of them cannot be read.
// `skip` sees the record first and can pass over it without translating. All but on_progress are
// called from several threads at a time.
struct Walk {
  std::function<bool(const journal::Record&)> skip;
  std::function<void(const Journalled&, const base::Result<therapy::Translation>&)> compare;
  // In its place when a document that it was made from was destroyed on purpose.
  std::function<void(const journal::Record&)> destroyed;
  OnProgress on_progress;
  bool bundles_only = false;  // neither lineage nor outcome is read or made
};
// Gives the record up to which it came when on_progress did not let it go on.
base::Result<std::optional<journal::Position>> walk(const journal::Store& store,
                                                    const intake::SessionCore& core,
                                                    const Range& range, std::size_t threads,
                                                    const Walk& walk);

// Holds by the record server come after a translation and name no sets.
bool is_translation(const journal::Record& record);

Fault fault_at(const journal::Record& record, std::string what);

}  // namespace engine::replay
