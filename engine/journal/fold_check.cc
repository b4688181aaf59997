#include <cstddef>
#include <cstdint>
#include <limits>
#include <map>
#include <string>
#include <utility>
#include <vector>

#include "engine/journal/queries.h"
#include "engine/journal/state.h"

namespace engine::journal::queries {
namespace {

constexpr int kPage = 500;  // as the LIMIT below says

using Rows = std::map<std::string, std::string>;  // key -> everything else

base::Result<Rows> rows_of(Connection& connection, const char* sql, int key_columns, int columns) {
  Rows rows;
  auto row = connection.run(sql);
  while (true) {
    const auto stepped = row.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped) {
      return rows;
    }
    std::string key;
    std::string rest;
    for (int i = 0; i < columns; ++i) {
      std::string& to = i < key_columns ? key : rest;
      to.append(row.null_at(i) ? std::string("-") : row.print_at(i)).append(" ");
    }
    rows.emplace(std::move(key), std::move(rest));
  }
}

void compare(std::string_view table, const Rows& stored, const Rows& folded, std::size_t limit,
             std::vector<std::string>& out) {
  for (const auto& [key, value] : folded) {
    const auto found = stored.find(key);
    if (out.size() < limit && (found == stored.end() || found->second != value)) {
      out.push_back("table " + std::string(table) + ", row " + key +
                    (found == stored.end() ? "is missing" : "does not say what the log says"));
    }
  }
  for (const auto& [key, value] : stored) {
    if (out.size() < limit && folded.find(key) == folded.end()) {
      out.push_back("table " + std::string(table) + ", row " + key + "has no record in the log");
    }
  }
}

void compare_columns_of(const sql::Run& row, std::size_t limit, std::vector<std::string>& out) {
  if (row.number_at(0) < 1 && out.size() < limit) {
    out.push_back("record " + std::to_string(row.number_at(0)) + ": records are numbered from 1");
  }
  if (row.blob_at(7).size() != base::Digest().size() && out.size() < limit) {
    out.push_back("record " + std::to_string(row.number_at(0)) + ": its leaf is no hash");
  }
  const auto head = parse_head(row.text_at(1));
  if (!head) {
    return;  // verify() names it
  }
  const Record& record = head->record;
  const bool same = row.number_at(2) == static_cast<std::int64_t>(record.kind) &&
                    row.text_at(3) == record.time && row.text_at(4) == record.session &&
                    row.text_at(5) == record.patient && row.text_at(6) == record.therapist;
  if (!same && out.size() < limit) {
    out.push_back("record " + std::to_string(row.number_at(0)) +
                  ": its search columns do not say what its head says");
  }
}

// The columns that serve search are copies of what the heads say. In pages, so that no database has
// to hand out the whole log at once.
base::Result<void> compare_columns(Connection& log, std::size_t limit,
                                   std::vector<std::string>& out) {
  std::int64_t after = std::numeric_limits<std::int64_t>::min();
  for (int rows = kPage; rows == kPage;) {
    auto row = log.run(
        "SELECT position, head, kind, time, coalesce(session, ''), coalesce(patient, ''), "
        "coalesce(therapist, ''), leaf FROM record WHERE position > ? ORDER BY position LIMIT 500");
    row.number(after);
    for (rows = 0;; ++rows) {
      const auto stepped = row.step();
      if (!stepped) {
        return stepped.error();
      }
      if (!*stepped) {
        break;
      }
      after = row.number_at(0);
      compare_columns_of(row, limit, out);
    }
  }
  return {};
}

// Whoever reads parts begins with record 1.
base::Result<void> look_for_strays(Connection& log, std::size_t limit,
                                   std::vector<std::string>& out) {
  auto row = log.run("SELECT position, name FROM part WHERE position < 1 ORDER BY position");
  while (true) {
    const auto stepped = row.step();
    if (!stepped || !*stepped) {
      return stepped ? base::Result<void>() : stepped.error();
    }
    if (out.size() < limit) {
      out.push_back("record " + std::to_string(row.number_at(0)) + ", part " + row.print_at(1) +
                    ": records are numbered from 1");
    }
  }
}

struct Table {
  std::string_view name;
  const char* sql;
  int key_columns;
  int columns;
};
constexpr Table kTables[] = {
    {"revision", "SELECT session, revision, accepted, content FROM revision", 2, 4},
    {"leg",
     "SELECT session, revision, target, accepted, patient, state, reason, bundle, attempts, "
     "failures, "
     "due, changed, open, uncertain FROM leg",
     3, 14},
};

// Within one snapshot.
base::Result<std::vector<std::string>> compare_all(Connection& log, Connection& again,
                                                   std::size_t limit) {
  base::Result<void> folded;
  auto scanned = scan(log, 1, [&](Position at, std::string_view text, const base::Digest&) {
    const auto head = parse_head(text, at);
    folded = head ? state::apply(again, head->record) : base::Result<void>(head.error());
    return folded.has_value();
  });
  if (!scanned || !folded) {
    return scanned ? folded.error() : scanned.error();
  }
  std::vector<std::string> out;
  if (auto compared = compare_columns(log, limit, out); !compared) {
    return compared.error();
  }
  if (auto looked = look_for_strays(log, limit, out); !looked) {
    return looked.error();
  }
  for (const Table& table : kTables) {
    const auto stored = rows_of(log, table.sql, table.key_columns, table.columns);
    const auto expected = rows_of(again, table.sql, table.key_columns, table.columns);
    if (!stored || !expected) {
      return stored ? expected.error() : stored.error();
    }
    compare(table.name, *stored, *expected, limit, out);
  }
  return out;
}

}  // namespace

base::Result<std::vector<std::string>> compare_with_fold(Connection& log, Connection& again,
                                                         std::size_t limit) {
  // One snapshot for the log and its tables, whatever an engine writes meanwhile.
  if (auto begun = log.begin_snapshot(); !begun) {
    return begun.error();
  }
  auto compared = compare_all(log, again, limit);
  // Ended after an error too: the connection serves other reads.
  if (auto ended = log.script("ROLLBACK"); !ended && compared) {
    return ended.error();
  }
  return compared;
}

}  // namespace engine::journal::queries
