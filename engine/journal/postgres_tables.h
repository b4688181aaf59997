#pragma once
// The tables of a journal in PostgreSQL.

#include "engine/base/result.h"
#include "engine/journal/postgres.h"

namespace engine::journal::postgres {

// Where there are none. Errors: kIo.
base::Result<void> create_tables(Connection& connection);
// Engines and writers that nobody has heard of for a month. Errors: kIo.
base::Result<void> forget_the_gone(Connection& connection);
// Errors: kNotFound when there is no journal, kUnsupported for one of a later format.
base::Result<void> check_format(Connection& connection);

}  // namespace engine::journal::postgres
