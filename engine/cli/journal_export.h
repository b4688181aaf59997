#pragma once
// The records of an export, one file for each head and each part (docs/formats/journal-export.md).

#include <cstddef>
#include <string>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::cli {

struct ExportEnds {
  journal::Position chosen = 0;  // no later record is chosen
  journal::Position proved = 0;  // nor does one come along that no signed head covers
};

// Writes the records that `query` finds into FOLDER/records, and with them the records that had
// something of these destroyed. How many were found. Errors: kIo, kCorrupt.
base::Result<std::size_t> write_records(const journal::Store& store, journal::Query query,
                                        ExportEnds ends, const std::string& folder);

}  // namespace engine::cli
