#pragma once
// The fold: what each record does to sessions, revisions and legs. Applied in the transaction that
// writes the record, and again, from the log alone, to prove that the tables say what the log says.

#include "engine/base/result.h"
#include "engine/journal/record.h"
#include "engine/journal/sql.h"
#include "engine/journal/store.h"

namespace engine::journal::state {

// In SQLite's words.
base::Result<void> create_tables(sql::Connection& connection);
base::Result<void> apply(sql::Connection& connection, const Record& record);
// Whether a later revision was not sent yet, so that one held or withdrawn is to say `anew`.
base::Result<bool> has_followers(sql::Connection& connection, const Record& record);

Leg leg_of(const sql::Run& row);

}  // namespace engine::journal::state
