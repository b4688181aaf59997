#pragma once
// The fold: what each record does to sessions, revisions and legs. Applied in the transaction that
// writes the record, and again, from the log alone, to prove that the tables say what the log says.

#include "engine/base/result.h"
#include "engine/journal/record.h"
#include "engine/journal/sqlite.h"
#include "engine/journal/store.h"

namespace engine::journal::state {

base::Result<void> create_tables(sqlite::Connection& connection);
base::Result<void> apply(sqlite::Connection& connection, const Record& record);

inline constexpr const char* kLegColumns =
    "session, revision, target, accepted, patient, state, reason, bundle, attempts, failures, due, "
    "changed, uncertain";
Leg leg_of(const sqlite::Run& row);

}  // namespace engine::journal::state
