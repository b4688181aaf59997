#pragma once
// A journal by its location: a file, or a database.

#include <memory>
#include <string>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::journal {

struct OpenOptions {
  std::string location;  // path of a file, or postgresql://USER@HOST/DATABASE
  OpenMode mode = OpenMode::kRead;
  std::string engine = {};  // of kEngine in a database: its name
  // What new bodies are sealed with and sealed ones opened; null: neither.
  std::shared_ptr<const Sealing> sealing = nullptr;
};

bool is_database(const std::string& location);

// Errors: those of open_sqlite_store() and open_postgres_store().
base::Result<std::unique_ptr<Store>> open_store(const OpenOptions& options);

}  // namespace engine::journal
