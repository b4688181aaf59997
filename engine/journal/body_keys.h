#pragma once
// The statements about data keys and about what was destroyed, each a function.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/journal/destruction.h"
#include "engine/journal/seal.h"
#include "engine/journal/sql.h"
#include "engine/journal/store.h"

namespace engine::journal::body_keys {

using sql::Connection;

base::Result<std::optional<WrappedKey>> find(Connection& connection, std::string_view id);
base::Result<std::vector<WrappedKey>> all(Connection& connection);
// Id of the master key that new data keys are wrapped under; "" when nothing was ever sealed.
base::Result<std::string> master(Connection& connection);

// The data key of a subject; made when there is none. Only within a transaction that keeps other
// writers out. Errors: kConflict when the master key in force was not given, kCorrupt, kIo.
base::Result<DataKey> for_writing(Connection& connection, const Sealing& sealing,
                                  std::string_view subject);
// What a record's bodies are sealed for.
std::string subject_of(const Record& record);

// Whether a program may work with this journal with these master keys (nullptr: none); with
// `first`, a journal that was never sealed is from now on, under the first of them. Errors:
// kConflict when a master key that is needed is missing, before anything is written.
base::Result<void> agree(Connection& connection, const Sealing* sealing, bool first);

// Of a program that was given no master key: whether it may not add bodies, because they are
// sealed.
base::Result<bool> shut(Connection& connection, const Sealing* sealing);
// Errors: kUnsupported when one of these has bodies and may not.
base::Result<void> check_bodies(const std::vector<Change>& batch, bool shut);

// Puts another master key in force and wraps up to `limit` data keys under it that are not yet.
// How many were. Errors: kConflict when one of the master keys was not given.
base::Result<std::size_t> rewrap(Connection& connection, const Sealing& sealing,
                                 std::string_view master, std::size_t limit);
// Keys of another journal, as they are there.
base::Result<void> restore(Connection& connection, const std::vector<WrappedKey>& keys,
                           std::string_view master);

// Does what the record says, for good.
base::Result<void> destroy(Connection& connection, Position record, const Destruction& what);
base::Result<std::vector<DestroyedRow>> destroyed_rows(Connection& connection);
// The record that had a part destroyed; nullopt when none had.
base::Result<std::optional<Position>> destroyed_by(Connection& connection, Position position,
                                                   std::string_view name);
// The bytes of a sealed part, packed still. Errors: kNotFound when it was destroyed, kUnsupported
// without its master key, kCorrupt.
base::Result<StoredPart> open_part(Connection& connection, const Sealing* sealing,
                                   Position position, const StoredPart& part);
// Of what a record had destroyed: when, by whom.
base::Error destroyed_error(Connection& connection, Position record);

}  // namespace engine::journal::body_keys
