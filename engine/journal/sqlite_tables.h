#pragma once
// The tables of a journal's file, and its form: PRAGMA user_version.

#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/sqlite.h"

namespace engine::journal::sqlite {

// Makes the tables when the file is new and `create` is given; brings a file of an earlier form up
// to date. Errors: kUnsupported for one of a later form, kIo.
base::Result<void> prepare_for_writing(Connection& connection, bool create);
// What those who write the journal have agreed on (Store::agree): made when there is something, so
// that a file of before has none, and the programs of before pass over it.
inline constexpr const char* kAgreedTable =
    "CREATE TABLE IF NOT EXISTS agreed(name TEXT PRIMARY KEY, value BLOB NOT NULL) WITHOUT ROWID;";
base::Result<bool> has_agreed(sql::Connection& connection);
// Whether what they agreed on was taken away: the table is made with its first row.
base::Result<bool> lost_agreed(sql::Connection& connection);
// What a file holds that changes or hides what is in its tables and that no journal has, such as a
// trigger, and the tables and indexes of its form that it lacks or that are others under their
// names. One sentence each.
base::Result<std::vector<std::string>> check_schema(Connection& connection);
// That every row is let in: an index of somebody else's may be one of which no two rows are alike.
// Errors: kCorrupt, naming the first.
base::Result<void> check_unique(sql::Connection& connection);
// Errors: kInvalid for a file that is no journal, kUnsupported, kIo.
base::Result<void> prepare_for_reading(Connection& connection, const std::string& path);

}  // namespace engine::journal::sqlite
