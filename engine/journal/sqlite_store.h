#pragma once
// The journal in one SQLite file: WAL, synchronous=FULL, so that a commit is on the disk when it
// returns. Other processes may read, and may append single records (the commands); one engine at a
// time holds the lock file, and a second one is refused.

#include <memory>
#include <string>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::journal {

struct SqliteOptions {
  std::string path;  // ":memory:" for tests and simulations
  // kEngine and kCopy take the lock; kCommand appends without it.
  OpenMode mode = OpenMode::kEngine;
  // What new bodies are sealed with and sealed ones opened; null: neither.
  std::shared_ptr<const Sealing> sealing = nullptr;
};

// Errors: kConflict when another engine holds the file or its bodies are sealed with another master
// key, kIo, kCorrupt, kUnsupported for a file of a later format.
base::Result<std::unique_ptr<Store>> open_sqlite_store(const SqliteOptions& options);

}  // namespace engine::journal
