#pragma once
// The journal in a PostgreSQL database, which several engines share. One row, locked by whoever
// writes, makes the commits of all engines one sequence, so that positions have no gaps and the
// tree is one tree.

#include <chrono>
#include <memory>
#include <string>

#include "engine/base/limits.h"
#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/journal/store.h"

namespace engine::journal {

struct PostgresOptions {
  std::string address;  // postgresql://...
  OpenMode mode = OpenMode::kEngine;
  std::string engine = {};  // of kEngine: its name, another one for each
  // What new bodies are sealed with and sealed ones opened; null: neither.
  std::shared_ptr<const Sealing> sealing = nullptr;
  // Another engine's silence after which what it had on its way is taken over, and this one's after
  // which it begins no request.
  struct Leases {
    std::chrono::milliseconds silence = base::limits::kEngineLease;
    std::chrono::milliseconds send = base::limits::kSendLease;
    std::chrono::milliseconds translate = base::limits::kTranslateLease;
  };
  Leases leases = {};
  // This engine's clock; null: the system's.
  const base::Clock* clock = nullptr;
};

// Errors: kInvalid for an address that cannot be read or holds a password, kConflict when an engine
// of this name runs or the bodies are sealed with another master key, kNotFound when the database
// holds no journal, kUnsupported for one of a later format, kIo.
base::Result<std::unique_ptr<Store>> open_postgres_store(const PostgresOptions& options);

}  // namespace engine::journal
