#pragma once
// What a start says of the keys: those that all who write the journal agree on, and the one that
// the engine signs heads with. Whoever reaches the journal's tables can take a row out of them, or
// put another in; the records prove what they say.

#include <optional>
#include <string>

#include "engine/base/result.h"
#include "engine/journal/sql.h"
#include "engine/journal/store.h"

namespace engine::journal {

struct StartMarks {
  std::string search_key;  // by which the key is known, as in the table agreed
  std::string master;      // id of the master key in force; "" where bodies are not sealed
  std::string head_key{};  // as TreeHead::key; "" in starts of when they did not say it
};

// For the `content` of a started record: "search-key HEX head-key HEX", and where there is one
// "master-key ID".
std::string print(const StartMarks& marks);
// nullopt: it is none, or one from when starts said nothing of keys.
std::optional<StartMarks> start_marks_of(const Record& record);

// Of the newest start that says them. Errors: kIo.
base::Result<std::optional<StartMarks>> newest_start_marks(const Store& store);
base::Result<std::optional<StartMarks>> newest_start_marks(sql::Connection& connection);

}  // namespace engine::journal
