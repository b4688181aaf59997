#pragma once
// The tables of a journal's file, and its form: PRAGMA user_version.

#include <string>

#include "engine/base/result.h"
#include "engine/journal/sqlite.h"

namespace engine::journal::sqlite {

// Makes the tables when the file is new and `create` is given; brings a file of an earlier form up
// to date. Errors: kUnsupported for one of a later form, kIo.
base::Result<void> prepare_for_writing(Connection& connection, bool create);
// Errors: kInvalid for a file that is no journal, kUnsupported, kIo.
base::Result<void> prepare_for_reading(Connection& connection, const std::string& path);

}  // namespace engine::journal::sqlite
