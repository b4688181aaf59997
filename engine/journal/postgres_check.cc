#include "engine/journal/postgres_check.h"

#include <algorithm>
#include <array>
#include <map>
#include <string_view>

namespace engine::journal::postgres {
namespace {

using base::Result;

// As pg_catalog tells them (PostgreSQL 15 to 17), in the order of the columns.
struct Expected {
  std::string_view name;
  std::string_view made;
};
constexpr std::array<Expected, 12> kTables = {{
    {"record",
     "position bigint not null, head bytea not null, leaf bytea not null, kind bigint not null, "
     "time bytea not null, session bytea, patient bytea, therapist bytea"},
    {"part",
     "position bigint not null, number bigint not null, name bytea not null, codec bigint not "
     "null, bytes bytea not null"},
    {"revision",
     "session bytea not null, revision bigint not null, accepted bigint not null, content bytea "
     "not null"},
    {"leg",
     "session bytea not null, revision bigint not null, target bytea not null, accepted bigint not "
     "null, patient bytea not null, state bigint not null, reason bytea not null, bundle bigint "
     "not null, attempts bigint not null, failures bigint not null, due bigint, changed bigint not "
     "null, open bigint, uncertain bigint not null"},
    {"body_key",
     "id bytea not null, subject bytea not null, master bytea not null, wrapped bytea not null"},
    {"body_master", "one bigint not null, master bytea not null"},
    {"destroyed_key", "id bytea not null, record bigint not null"},
    {"destroyed_part", "first bigint not null, last bigint not null, record bigint not null"},
    {"agreed", "name bytea not null, value bytea not null"},
    {"sequencer", "one bigint not null"},
    {"writer", "id bytea not null, batch bigint not null, since timestamp with time zone not null"},
    {"engine", "name bytea not null, seen timestamp with time zone not null, instance bytea"},
}};
constexpr std::array<Expected, 22> kIndexes = {{
    {"record_pkey", "UNIQUE btree (\"position\")"},
    {"record_session", "btree (session) WHERE (session IS NOT NULL)"},
    {"record_patient", "btree (patient) WHERE (patient IS NOT NULL)"},
    {"record_therapist", "btree (therapist) WHERE (therapist IS NOT NULL)"},
    {"record_time", "btree (\"time\")"},
    {"record_kept", "btree (kind, \"position\") WHERE ((kind > 21) AND (kind < 27))"},
    {"part_pkey", "UNIQUE btree (\"position\", number)"},
    {"revision_pkey", "UNIQUE btree (session, revision)"},
    {"leg_pkey", "UNIQUE btree (session, revision, target)"},
    {"leg_open", "btree (target, patient, accepted) WHERE (open = 1)"},
    {"leg_due", "btree (target, accepted) WHERE (due IS NOT NULL)"},
    {"leg_new", "btree (accepted) WHERE (state = 1)"},
    {"leg_held", "btree (accepted) WHERE (state = 5)"},
    {"leg_sent", "btree (accepted) WHERE (state = 3)"},
    {"body_key_pkey", "UNIQUE btree (id)"},
    {"body_key_subject_key", "UNIQUE btree (subject)"},
    {"body_master_pkey", "UNIQUE btree (one)"},
    {"destroyed_key_pkey", "UNIQUE btree (id)"},
    {"destroyed_part_pkey", "UNIQUE btree (first)"},
    {"agreed_pkey", "UNIQUE btree (name)"},
    {"sequencer_pkey", "UNIQUE btree (one)"},
    {"engine_pkey", "UNIQUE btree (name)"},
}};

struct Found {
  std::string made;
  bool lasting = true;
  // What lies on a table that no journal has; the table of an index.
  std::string strange;
};

// By name; those that the search path leads to. What lies on a table is named in SQL's own words.
Result<std::map<std::string, Found>> found_by(Connection& connection, const char* sql) {
  std::map<std::string, Found> out;
  auto row = connection.run(sql);
  while (true) {
    const auto stepped = row.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped) {
      return out;
    }
    out[std::string(row.text_at(0))] = {std::string(row.text_at(1)), row.number_at(2) == 1,
                                        std::string(row.text_at(3))};
  }
}

// A row of a partitioned table is kept in a partition, under the triggers of that one; those of the
// table are on each of them.
constexpr const char* kFindTables = R"sql(
SELECT c.relname::text,
  (SELECT string_agg(a.attname || ' ' || format_type(a.atttypid, a.atttypmod) ||
      CASE WHEN a.attnotnull THEN ' not null' ELSE '' END, ', ' ORDER BY a.attnum)
    FROM pg_catalog.pg_attribute AS a
    WHERE a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped),
  (SELECT CASE WHEN bool_and(k.relkind IN ('r', 'p') AND k.relpersistence = 'p') THEN 1 ELSE 0 END
    FROM pg_catalog.pg_class AS k WHERE k.oid = c.oid OR k.oid = ANY(parts.oids)),
  concat_ws(', ',
    (SELECT string_agg('trigger ' || t.tgname ||
        CASE WHEN t.tgrelid = c.oid THEN '' ELSE ' of its partition ' || t.tgrelid::regclass END,
        ', ' ORDER BY t.tgname)
      FROM pg_catalog.pg_trigger AS t
      WHERE (t.tgrelid = c.oid OR t.tgrelid = ANY(parts.oids)) AND t.tgparentid = 0
        AND NOT t.tgisinternal),
    (SELECT string_agg('rule ' || r.rulename, ', ' ORDER BY r.rulename)
      FROM pg_catalog.pg_rewrite AS r WHERE r.ev_class = c.oid AND r.rulename <> '_RETURN'),
    CASE WHEN c.relrowsecurity THEN 'row level security' END)
FROM pg_catalog.pg_class AS c,
  LATERAL (SELECT ARRAY(SELECT relid FROM pg_partition_tree(c.oid)) AS oids) AS parts
WHERE c.oid = to_regclass(quote_ident(c.relname)) AND c.relkind IN ('r', 'p', 'v', 'm', 'f')
)sql";
constexpr const char* kFindIndexes = R"sql(
SELECT c.relname::text,
  CASE WHEN i.indisunique OR i.indisexclusion THEN 'UNIQUE ' ELSE '' END ||
  substr(pg_get_indexdef(c.oid), strpos(pg_get_indexdef(c.oid), ' USING ') + 7),
  CASE WHEN i.indisvalid AND i.indisready THEN 1 ELSE 0 END, i.indrelid::regclass::text
FROM pg_catalog.pg_class AS c JOIN pg_catalog.pg_index AS i ON i.indexrelid = c.oid
WHERE c.oid = to_regclass(quote_ident(c.relname))
)sql";

// The columns of a journal come first; a site may have added some.
bool begins_with(std::string_view made, std::string_view expected) {
  return made.substr(0, expected.size()) == expected &&
         (made.size() == expected.size() || made.substr(expected.size(), 2) == ", ");
}

}  // namespace

Result<std::vector<std::string>> check_tables(Connection& connection) {
  const auto tables = found_by(connection, kFindTables);
  const auto indexes = tables ? found_by(connection, kFindIndexes) : tables.error();
  if (!indexes) {
    return indexes.error();
  }
  std::vector<std::string> out;
  const auto say = [&out](std::string_view kind, std::string_view name, std::string_view what) {
    out.push_back("database: the " + std::string(kind) + " " + std::string(name) + " " +
                  std::string(what));
  };
  for (const auto& [name, made] : kTables) {
    const auto found = tables->find(std::string(name));
    if (found == tables->end()) {
      say("table", name, "is missing");
      continue;
    }
    if (!begins_with(found->second.made, made)) {
      say("table", name, "is not made as in any journal");
    }
    if (!found->second.lasting) {
      say("table", name, "would not survive a crash of the database (UNLOGGED)");
    }
    if (!found->second.strange.empty()) {
      say("table", name, "has what no journal has: " + found->second.strange);
    }
  }
  for (const auto& [name, made] : kIndexes) {
    const auto found = indexes->find(std::string(name));
    if (found == indexes->end()) {
      say("index", name, "is missing");
    } else if (found->second.made != made || !found->second.lasting) {
      say("index", name, "is not made as in any journal, or is not in use");
    }
  }
  for (const auto& [name, index] : *indexes) {
    const auto is = [&](const auto& list, const std::string& one) {
      return std::any_of(list.begin(), list.end(),
                         [&](const Expected& e) { return e.name == one; });
    };
    if (index.made.starts_with("UNIQUE ") && !is(kIndexes, name) && name != "writer_pkey" &&
        is(kTables, index.strange)) {
      say("index", name,
          "of the table " + index.strange +
              " lets no second row of a kind in, which no journal's does");
    }
  }
  const auto locked = connection.run("SELECT 1 FROM sequencer").step();
  if (locked && !*locked) {
    say("table", "sequencer", "has lost its row");
  }
  return out;
}

Result<void> check_lasting(Connection& connection) {
  const auto tables = found_by(connection, kFindTables);
  if (!tables) {
    return tables.error();
  }
  for (const auto& [name, made] : kTables) {
    const auto found = tables->find(std::string(name));
    if (found != tables->end() && !found->second.lasting) {
      return base::Error(base::ErrorCode::kUnsupported,
                         "the journal's table " + std::string(name) +
                             " would be empty after a crash of the database: ALTER TABLE ... SET "
                             "LOGGED brings it back into its log");
    }
  }
  return {};
}

}  // namespace engine::journal::postgres
