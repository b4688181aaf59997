#include "engine/journal/sqlite_types.h"

#include <string_view>

#include "engine/journal/sqlite_tables.h"

namespace engine::journal::sqlite {
namespace {

// As the tables declare their columns; where one may be NULL the value in its place has its type.
// SQLite takes an index for a search whose condition is the index's, word by word.
#define ENGINE_RECORD_TYPES                                                               \
  "typeof(head) || typeof(leaf) || typeof(kind) || typeof(time) || typeof(coalesce("      \
  "session, '')) || typeof(coalesce(patient, '')) || typeof(coalesce(therapist, '')) <> " \
  "'textblobintegertexttexttexttext'"
#define ENGINE_REVISION_TYPES                                                      \
  "typeof(session) || typeof(revision) || typeof(accepted) || typeof(content) <> " \
  "'textintegerintegertext'"
#define ENGINE_LEG_TYPES                                                                 \
  "typeof(session) || typeof(revision) || typeof(target) || typeof(accepted) || "        \
  "typeof(patient) || typeof(state) || typeof(reason) || typeof(bundle) || "             \
  "typeof(attempts) || typeof(failures) || typeof(coalesce(due, 0)) || typeof(changed) " \
  "|| typeof(coalesce(open, 0)) || typeof(uncertain) <> "                                \
  "'textintegertextintegertextintegertextintegerintegerintegerintegerintegerinteger"     \
  "integer'"
#define ENGINE_KEY_TYPES                                                   \
  "typeof(id) || typeof(subject) || typeof(master) || typeof(wrapped) <> " \
  "'blobtexttextblob'"

constexpr const char* kIndexes =
    "CREATE INDEX IF NOT EXISTS record_types ON record(position) WHERE " ENGINE_RECORD_TYPES
    ";CREATE INDEX IF NOT EXISTS revision_types ON revision(session) WHERE " ENGINE_REVISION_TYPES
    ";CREATE INDEX IF NOT EXISTS leg_types ON leg(session) WHERE " ENGINE_LEG_TYPES
    ";CREATE INDEX IF NOT EXISTS body_key_types ON body_key(id) WHERE " ENGINE_KEY_TYPES ";";

struct Table {
  std::string_view name;
  bool searched;    // it decides what is sent, found or kept
  const char* sql;  // names the rows that have a value of another type
};

constexpr Table kTables[] = {
    {"record", true, "SELECT position FROM record WHERE " ENGINE_RECORD_TYPES},
    {"revision", true,
     "SELECT session || ' ' || revision FROM revision WHERE " ENGINE_REVISION_TYPES},
    {"leg", true,
     "SELECT session || ' ' || revision || ' ' || target FROM leg WHERE " ENGINE_LEG_TYPES},
    {"body_key", true, "SELECT lower(hex(id)) FROM body_key WHERE " ENGINE_KEY_TYPES},
    {"part", false,
     "SELECT position || ' ' || number FROM part WHERE typeof(position) || typeof(number) || "
     "typeof(name) || typeof(codec) || typeof(bytes) <> 'integerintegertextintegerblob'"},
    {"body_master", false, "SELECT one FROM body_master WHERE typeof(master) <> 'text'"},
    {"destroyed_key", false,
     "SELECT lower(hex(id)) FROM destroyed_key WHERE typeof(id) || typeof(record) <> "
     "'blobinteger'"},
    {"destroyed_part", false,
     "SELECT first FROM destroyed_part WHERE typeof(last) || typeof(record) <> 'integerinteger'"},
};

constexpr Table kAgreed = {
    "agreed", false, "SELECT name FROM agreed WHERE typeof(name) || typeof(value) <> 'textblob'"};

base::Result<void> look(sql::Connection& connection, const Table& table, std::size_t limit,
                        std::vector<std::string>& out) {
  auto row = connection.run(table.sql);
  while (out.size() < limit) {
    const auto stepped = row.step();
    if (!stepped || !*stepped) {
      return stepped ? base::Result<void>() : stepped.error();
    }
    out.push_back("table " + std::string(table.name) + ", row " + row.print_at(0) +
                  ": a value has another type than its column, and no search finds it");
  }
  return {};
}

}  // namespace

base::Result<void> index_types(sql::Connection& connection) {
  return connection.script(kIndexes);
}

base::Result<void> check_searched_types(sql::Connection& connection) {
  std::vector<std::string> found;
  for (const Table& table : kTables) {
    if (auto looked = table.searched ? look(connection, table, 1, found) : base::Result<void>();
        !looked) {
      return looked;
    }
  }
  return found.empty() ? base::Result<void>()
                       : base::Error(base::ErrorCode::kCorrupt,
                                     found.front() +
                                         "; journal verify names all of them, and a journal copy "
                                         "of this one has none");
}

base::Result<std::vector<std::string>> check_types(sql::Connection& connection, std::size_t limit) {
  std::vector<std::string> out;
  base::Result<void> looked;
  for (const Table& table : kTables) {
    looked = looked ? look(connection, table, limit, out) : looked;
  }
  const auto agreed = looked ? has_agreed(connection) : looked.error();
  if (agreed && *agreed) {
    looked = look(connection, kAgreed, limit, out);
  }
  if (!looked || !agreed) {
    return looked ? agreed.error() : looked.error();
  }
  return out;
}

}  // namespace engine::journal::sqlite
