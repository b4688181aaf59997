#include "engine/journal/sqlite_tables.h"

#include <map>
#include <string_view>
#include <utility>

#include "engine/journal/sqlite_types.h"
#include "engine/journal/state.h"

namespace engine::journal::sqlite {
namespace {

constexpr const char* kLogTables = R"sql(
CREATE TABLE IF NOT EXISTS record(
  position INTEGER PRIMARY KEY, head TEXT NOT NULL, leaf BLOB NOT NULL, kind INTEGER NOT NULL,
  time TEXT NOT NULL, session TEXT, patient TEXT, therapist TEXT);
CREATE TABLE IF NOT EXISTS part(
  position INTEGER NOT NULL, number INTEGER NOT NULL, name TEXT NOT NULL, codec INTEGER NOT NULL,
  bytes BLOB NOT NULL, PRIMARY KEY(position, number)) WITHOUT ROWID;
CREATE INDEX IF NOT EXISTS record_session ON record(session) WHERE session IS NOT NULL;
CREATE INDEX IF NOT EXISTS record_patient ON record(patient) WHERE patient IS NOT NULL;
CREATE INDEX IF NOT EXISTS record_therapist ON record(therapist) WHERE therapist IS NOT NULL;
CREATE INDEX IF NOT EXISTS record_time ON record(time);
)sql";

// Form 2 of the file has these too. A file of form 1 that is only read gets empty ones beside it.
#define ENGINE_SEAL_TABLES(create)                                                          \
  create                                                                                    \
      " body_key(id BLOB PRIMARY KEY, subject TEXT NOT NULL UNIQUE, master TEXT NOT NULL, " \
      "wrapped BLOB NOT NULL) WITHOUT ROWID;" create                                        \
      " body_master(one INTEGER PRIMARY KEY CHECK (one = 1), master TEXT NOT NULL);" create \
      " destroyed_key(id BLOB PRIMARY KEY, record INTEGER NOT NULL) WITHOUT ROWID;" create  \
      " destroyed_part(first INTEGER PRIMARY KEY, last INTEGER NOT NULL, record INTEGER "   \
      "NOT NULL);"
constexpr const char* kSealTables = ENGINE_SEAL_TABLES("CREATE TABLE IF NOT EXISTS")
    "CREATE INDEX IF NOT EXISTS record_kept ON record(kind, position) WHERE kind > 21 AND kind < "
    "27;";
constexpr const char* kNoSealTables = ENGINE_SEAL_TABLES("CREATE TEMP TABLE");
#undef ENGINE_SEAL_TABLES

constexpr int kFormat = 2;

base::Result<std::int64_t> user_version(Connection& connection) {
  auto row = connection.run("PRAGMA user_version");
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  return *stepped ? row.number_at(0) : 0;
}

// The tables and indexes of a file of this form that are not there yet.
base::Result<void> create_tables(Connection& connection, std::int64_t format) {
  auto done = connection.script(kLogTables);
  if (done) {
    done = state::create_tables(connection);
  }
  return done && format > 1 ? connection.script(kSealTables) : done;
}

base::Error later_form() {
  return {base::ErrorCode::kUnsupported,
          "the journal was written by a later version of the engine"};
}

}  // namespace

base::Result<void> prepare_for_writing(Connection& connection, bool create) {
  // Before the first table: pages of 8 KiB suit records with their bodies. What is deleted is
  // overwritten: keys and bodies are deleted to be gone.
  auto done = connection.script(
      "PRAGMA page_size=8192; PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; "
      "PRAGMA cache_size=-8192; PRAGMA foreign_keys=OFF; PRAGMA secure_delete=ON;");
  if (!done) {
    return done;
  }
  auto format = user_version(connection);
  if (!format) {
    return format.error();
  }
  if (*format > kFormat) {
    return later_form();
  }
  if (*format == kFormat || (*format == 0 && !create)) {
    return create ? index_types(connection) : base::Result<void>();
  }
  done = connection.script("BEGIN IMMEDIATE");
  if (done) {
    done = create_tables(connection, kFormat);
  }
  if (done) {
    done = index_types(connection);
  }
  if (done) {
    done = connection.script("PRAGMA user_version=2; COMMIT");
  }
  return done;
}

base::Result<bool> has_agreed(sql::Connection& connection) {
  return connection.run("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'agreed'")
      .step();
}

base::Result<bool> lost_agreed(sql::Connection& connection) {
  const auto there = has_agreed(connection);
  if (!there || !*there) {
    return there;
  }
  const auto row = connection.run("SELECT 1 FROM agreed LIMIT 1").step();
  return row ? base::Result<bool>(!*row) : row.error();
}

namespace {

// Type and name, and the statement that made it.
using Schema = std::map<std::pair<std::string, std::string>, std::string>;

// SQLite keeps the text as it was written, and the engines of before broke the lines elsewhere.
std::string without_layout(std::string_view sql) {
  const auto is_space = [](char c) { return c == ' ' || c == '\n' || c == '\t' || c == '\r'; };
  const auto is_mark = [](char c) { return c == '(' || c == ')' || c == ','; };
  std::string out;
  bool space = false;
  for (const char c : sql) {
    if (is_space(c)) {
      space = true;
      continue;
    }
    if (space && !out.empty() && !is_mark(c) && !is_mark(out.back())) {
      out += ' ';
    }
    space = false;
    out += c;
  }
  return out;
}

// Without the indexes that SQLite makes for itself, which no statement made.
base::Result<Schema> schema_of(Connection& connection) {
  Schema out;
  auto row = connection.run("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL");
  while (true) {
    const auto stepped = row.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped) {
      return out;
    }
    out.emplace(std::pair(row.text_at(0), row.text_at(1)), without_layout(row.text_at(2)));
  }
}

base::Result<Schema> fresh_schema(std::int64_t format) {
  auto fresh = Connection::open(":memory:", {.read_only = false, .create = true});
  auto made = fresh ? create_tables(**fresh, format) : base::Result<void>(fresh.error());
  if (made) {
    made = (*fresh)->script(kAgreedTable);
  }
  return made ? schema_of(**fresh) : base::Result<Schema>(made.error());
}

// Of statements that made an index: those of the tables themselves are in the tables' texts.
base::Result<std::vector<std::string>> unique_indexes(sql::Connection& connection) {
  auto row = connection.run(
      "SELECT t.name, i.name FROM sqlite_master AS t, pragma_index_list(t.name) AS i WHERE t.type "
      "= 'table' AND t.name IN ('record', 'part', 'revision', 'leg', 'body_key', 'body_master', "
      "'destroyed_key', 'destroyed_part', 'agreed') AND i.\"unique\" = 1 AND i.origin = 'c'");
  std::vector<std::string> out;
  while (true) {
    const auto stepped = row.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped) {
      return out;
    }
    out.push_back("database file: the index " + std::string(row.text_at(1)) + " of the table " +
                  std::string(row.text_at(0)) +
                  " lets no second row of a kind in, which no journal's does");
  }
}

}  // namespace

base::Result<void> check_unique(sql::Connection& connection) {
  const auto found = unique_indexes(connection);
  if (!found) {
    return found.error();
  }
  return found->empty()
             ? base::Result<void>()
             : base::Error(base::ErrorCode::kCorrupt, found->front() +
                                                          "; drop it, and have journal verify say "
                                                          "what it kept out");
}

base::Result<std::vector<std::string>> check_schema(Connection& connection) {
  const auto format = user_version(connection);
  const auto known = format ? fresh_schema(*format) : base::Result<Schema>(format.error());
  const auto found = known ? schema_of(connection) : base::Result<Schema>(known.error());
  if (!found) {
    return found.error();
  }
  std::vector<std::string> out;
  // The tables of a later form are made in the transaction that sets its number.
  if (*format < kFormat && found->count({"table", "body_key"}) != 0) {
    out.emplace_back("database file: it says that it is of form " + std::to_string(*format) +
                     " and holds tables of a later one");
  }
  for (const auto& [what, sql] : *found) {
    // A table or an index more, of a later program or of the site, says nothing false, unless it
    // keeps rows out.
    if (what.first != "index" && what.first != "table") {
      out.push_back("database file: it holds the " + what.first + " " + what.second +
                    ", which no journal has");
    }
  }
  const auto unique = unique_indexes(connection);
  if (!unique) {
    return unique.error();
  }
  out.insert(out.end(), unique->begin(), unique->end());
  for (const auto& [what, sql] : *known) {
    const auto same = found->find(what);
    if (same == found->end() && what.second != "agreed") {
      out.push_back("database file: the " + what.first + " " + what.second + " is missing");
    } else if (same != found->end() && same->second != sql) {
      out.push_back("database file: the " + what.first + " " + what.second +
                    " is not made as in any journal");
    }
  }
  return out;
}

base::Result<void> prepare_for_reading(Connection& connection, const std::string& path) {
  const auto format = user_version(connection);
  if (!format) {
    return format.error();
  }
  if (*format > kFormat) {
    return later_form();
  }
  if (*format < 1) {
    return base::Error(base::ErrorCode::kInvalid, "this file is no journal", path);
  }
  return *format == kFormat ? base::Result<void>() : connection.script(kNoSealTables);
}

}  // namespace engine::journal::sqlite
