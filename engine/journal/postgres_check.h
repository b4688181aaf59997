#pragma once
// Whether the tables of a journal in PostgreSQL are made as an engine makes them: an index with
// other rows hides records from every search, a trigger or a policy changes what arrives or is
// seen, and an unlogged table is empty after the next crash of the database.

#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/postgres.h"

namespace engine::journal::postgres {

// A sentence for each thing that is not. An index, a column or a view more says nothing false.
// Errors: kIo.
base::Result<std::vector<std::string>> check_tables(Connection& connection);

// Errors: kUnsupported when a table would not survive a crash of the database.
base::Result<void> check_lasting(Connection& connection);

}  // namespace engine::journal::postgres
