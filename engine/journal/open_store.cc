#include "engine/journal/open_store.h"

#include "engine/journal/postgres.h"
#include "engine/journal/postgres_store.h"
#include "engine/journal/sqlite_store.h"

namespace engine::journal {

bool is_database(const std::string& location) {
  return postgres::is_address(location);
}

base::Result<std::unique_ptr<Store>> open_store(const OpenOptions& options) {
  if (is_database(options.location)) {
    return open_postgres_store({options.location, options.mode, options.engine, options.sealing});
  }
  return open_sqlite_store({options.location, options.mode, options.sealing});
}

}  // namespace engine::journal
