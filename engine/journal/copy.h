#pragma once
// Copies a journal record by record into another store: the same heads, leaves and parts, and so
// the same tree. What the target holds already is compared and kept, so that a copy that was ended
// goes on where it stopped. Sealed parts stay sealed, and the keys come along as they are wrapped.

#include <functional>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::journal {

struct CopyReport {
  Position there = 0;   // records that the target had
  Position copied = 0;  // that came to it
  base::Digest root{};  // of both
  bool whole = false;   // nothing came to `from` meanwhile, nor can any more
};

// `from` is not changed; nobody else may write into `to`, and no engine starts on it, until a copy
// was whole, for which nobody may write into `from` any more (`ended`). `progress` hears how many
// records the target has. Errors: kConflict when what the target holds is no beginning of `from`,
// kCorrupt naming the record whose bytes are not what it says, kIo.
base::Result<CopyReport> copy_journal(const Store& from, Store& to, bool ended,
                                      const std::function<void(Position)>& progress);

}  // namespace engine::journal
