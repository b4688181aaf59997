#pragma once
// The type that SQLite keeps with each value, whatever its column is declared as: a text or a
// number that was made bytes reads the same, and no search finds it. No thread safety of its own.
// Source: https://sqlite.org/datatype3.html, sections 1 and 4.1.

#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/sql.h"

namespace engine::journal::sqlite {

// Makes what finds rows with a value of another type at once; without it each look reads the whole
// table. Programs of before keep it up and pass over it.
base::Result<void> index_types(sql::Connection& connection);

// Errors: kCorrupt when a row that decides what is sent, found or kept is among these.
base::Result<void> check_searched_types(sql::Connection& connection);

// One sentence for each such row of any table.
base::Result<std::vector<std::string>> check_types(sql::Connection& connection, std::size_t limit);

}  // namespace engine::journal::sqlite
