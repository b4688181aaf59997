#include "engine/journal/queries.h"

#include <algorithm>
#include <chrono>
#include <iterator>
#include <limits>
#include <utility>

#include "engine/base/limits.h"
#include "engine/journal/bound.h"
#include "engine/journal/state.h"

namespace engine::journal::queries {
namespace {

using sql::Run;

// As the LIMITs below say.
constexpr int kPage = 500;
constexpr int kPartsPage = 16;

std::int64_t signed_of(Position position) {
  return static_cast<std::int64_t>(position);
}

base::Digest digest_of(std::string_view blob) {
  base::Digest digest{};
  std::copy_n(blob.begin(), std::min(blob.size(), digest.size()), digest.begin());
  return digest;
}

base::Result<std::vector<Leg>> all_legs(Run& row) {
  std::vector<Leg> out;
  while (true) {
    const auto stepped = row.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped) {
      return out;
    }
    out.push_back(state::leg_of(row));
  }
}

}  // namespace

base::Result<End> end_of_log(Connection& connection) {
  auto row =
      connection.run("SELECT position, leaf, time FROM record ORDER BY position DESC LIMIT 1");
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  End end;
  end.leaf = genesis();
  if (*stepped) {
    end.position = static_cast<Position>(row.number_at(0));
    end.leaf = digest_of(row.blob_at(1));
    end.time = std::string(row.text_at(2));
  }
  return end;
}

base::Result<void> insert_record(Connection& connection, const Record& record,
                                 std::string_view head, const base::Digest& leaf) {
  auto run = connection.run(
      "INSERT INTO record VALUES(?, ?, ?, ?, ?, nullif(?, ''), nullif(?, ''), nullif(?, ''))");
  return run.number(signed_of(record.position))
      .text(head)
      .digest(leaf)
      .number(static_cast<std::int64_t>(record.kind))
      .text(record.time)
      .text(record.session)
      .text(record.patient)
      .text(record.therapist)
      .finish();
}

base::Result<void> insert_part(Connection& connection, Position position, std::size_t number,
                               const StoredPart& part) {
  return connection.run("INSERT INTO part VALUES(?, ?, ?, ?, ?)")
      .number(signed_of(position))
      .number(static_cast<std::int64_t>(number))
      .text(part.name)
      .number(part.codec)
      .blob(part.bytes)
      .finish();
}

base::Result<void> agree(Connection& connection, std::string_view name, std::string_view value) {
  auto added = connection.run("INSERT INTO agreed VALUES(?, ?) ON CONFLICT (name) DO NOTHING");
  if (auto done = added.text(name).blob(value).finish(); !done) {
    return done;
  }
  const auto kept = agreed(connection, name);
  if (!kept) {
    return kept.error();
  }
  return *kept == value ? base::Result<void>()
                        : base::Error(base::ErrorCode::kConflict,
                                      "those who write this journal do not have the same " +
                                          std::string(name));
}

base::Result<std::string> agreed(Connection& connection, std::string_view name) {
  auto row = connection.run("SELECT value FROM agreed WHERE name = ?");
  const auto stepped = row.text(name).step();
  if (!stepped) {
    return stepped.error();
  }
  return *stepped ? std::string(row.blob_at(0)) : std::string();
}

base::Result<void> retract(Connection& connection, std::string_view name) {
  return connection.run("DELETE FROM agreed WHERE name = ?").text(name).finish();
}

base::Result<void> check_copied(Connection& connection) {
  const auto copying = agreed(connection, kCopying);
  if (!copying) {
    return copying.error();
  }
  return copying->empty()
             ? base::Result<void>()
             : base::Error(base::ErrorCode::kConflict,
                           "another journal was not copied into this one to its end: nobody writes "
                           "into that any more, and journal copy goes on where it stopped");
}

base::Result<Position> size(Connection& connection) {
  auto end = end_of_log(connection);
  if (!end) {
    return end.error();
  }
  return end->position;
}

base::Result<std::string> head_text(Connection& connection, Position position) {
  auto row = connection.run("SELECT head FROM record WHERE position = ?");
  row.number(signed_of(position));
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  if (!*stepped) {
    return base::Error(base::ErrorCode::kNotFound, "the journal has no such record",
                       "position " + std::to_string(position));
  }
  return std::string(row.text_at(0));
}

// In pages, so that no database has to hand out the whole log at once. The log only grows, so the
// pages fit together.
base::Result<void> scan(
    Connection& connection, Position first,
    const std::function<bool(Position, std::string_view, const base::Digest&)>& visit) {
  for (int rows = kPage; rows == kPage;) {
    auto row = connection.run(
        "SELECT position, head, leaf FROM record WHERE position >= ? ORDER BY position LIMIT 500");
    row.number(signed_of(first));
    for (rows = 0;; ++rows) {
      const auto stepped = row.step();
      if (!stepped) {
        return stepped.error();
      }
      if (!*stepped) {
        break;
      }
      const auto position = static_cast<Position>(row.number_at(0));
      if (!visit(position, row.text_at(1), digest_of(row.blob_at(2)))) {
        return {};
      }
      first = position + 1;
    }
  }
  return {};
}

base::Result<void> scan_parts(Connection& connection, Position first,
                              const std::function<bool(const PartRow&)>& visit) {
  // The last part seen. Of the record before the first there can be none behind this one, and of
  // the first one none is passed over, whatever its number.
  std::int64_t position = signed_of(first) - 1;
  std::int64_t after = std::numeric_limits<std::int64_t>::max();
  for (int rows = kPartsPage; rows == kPartsPage;) {
    auto row = connection.run(
        "SELECT position, name, codec, bytes, number FROM part WHERE (position, number) > (?, ?) "
        "ORDER BY position, number LIMIT 16");
    row.number(position).number(after);
    for (rows = 0;; ++rows) {
      const auto stepped = row.step();
      if (!stepped) {
        return stepped.error();
      }
      if (!*stepped) {
        break;
      }
      PartRow out;
      out.position = static_cast<Position>(row.number_at(0));
      out.part.name = std::string(row.text_at(1));
      out.part.codec = static_cast<int>(row.number_at(2));
      out.part.bytes = std::string(row.blob_at(3));
      out.part.hash = base::sha256(out.part.bytes);
      out.number = row.number_at(4);
      if (!visit(out)) {
        return {};
      }
      position = signed_of(out.position);
      after = out.number;
    }
  }
  return {};
}

namespace {

// Each condition is off when its value is empty.
constexpr const char* kSearchUp =
    "SELECT position, head FROM record WHERE (?1 = '' OR session = ?1) AND (?2 = '' OR patient = "
    "?2) AND (?3 = '' OR therapist = ?3) AND (?4 = 0 OR kind = ?4) AND (?5 = '' OR time >= ?5) AND "
    "(?6 = '' OR time < ?6) AND position > ?7 ORDER BY position LIMIT 500";
constexpr const char* kSearchDown =
    "SELECT position, head FROM record WHERE (?1 = '' OR session = ?1) AND (?2 = '' OR patient = "
    "?2) AND (?3 = '' OR therapist = ?3) AND (?4 = 0 OR kind = ?4) AND (?5 = '' OR time >= ?5) AND "
    "(?6 = '' OR time < ?6) AND (?7 = 0 OR position < ?7) ORDER BY position DESC LIMIT 500";

}  // namespace

base::Result<std::vector<Record>> search(Connection& connection, const Query& query) {
  std::vector<Record> out;
  const std::string since = bound_of(query.since);
  const std::string until = bound_of(query.until);
  Position after = query.after;
  for (int rows = kPage; rows == kPage;) {
    auto row = connection.run(query.newest_first ? kSearchDown : kSearchUp);
    row.text(query.session)
        .text(query.patient)
        .text(query.therapist)
        .number(query.kind ? static_cast<std::int64_t>(*query.kind) : 0)
        .text(since)
        .text(until)
        .number(signed_of(after));
    for (rows = 0; out.size() < query.limit; ++rows) {
      const auto stepped = row.step();
      if (!stepped) {
        return stepped.error();
      }
      if (!*stepped) {
        break;
      }
      after = static_cast<Position>(row.number_at(0));
      auto head = parse_head(row.text_at(1), after);
      if (!head) {
        // The rest stays readable. Whose target it was nobody knows any more.
        out.emplace_back();
        out.back().kind = Kind::kUnreadable;
        out.back().position = after;
      } else if (query.target.empty() || head->record.target == query.target) {
        out.push_back(std::move(head->record));
      }
    }
  }
  return out;
}

base::Result<std::optional<LegMark>> leg_mark(Connection& connection, const Record& record) {
  auto row = connection.run(
      "SELECT state, changed, uncertain FROM leg WHERE session = ? AND revision = ? AND target = "
      "?");
  row.text(record.session).number(record.revision).text(record.target);
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  std::optional<LegMark> mark;
  if (*stepped) {
    mark = LegMark{static_cast<LegState>(row.number_at(0)), static_cast<Position>(row.number_at(1)),
                   row.number_at(2) != 0};
  }
  return mark;
}

// Nothing of the patient is on its way, also nothing that came later: what was held goes back to
// its place before that. Asked once for all legs, of the few that are on their way. Then: no
// unfinished leg of the patient came earlier, but for those that stand behind a held revision of
// their session and wait for a person with it; and no earlier revision of the session can still
// land. As values and not as NOT EXISTS: PostgreSQL makes a join of that, and where it has not
// counted the rows yet it compares every leg that waits with every other.
#define ENGINE_MAY_GO(target)                                                                     \
  "leg.patient NOT IN (SELECT s.patient FROM leg AS s INDEXED BY leg_sent WHERE s.state "         \
  "= 3 AND s.target = " target                                                                    \
  ") AND coalesce((SELECT e.accepted FROM leg AS e INDEXED BY leg_open WHERE e.open "             \
  "= 1 AND e.target = leg.target AND e.patient = leg.patient AND coalesce((SELECT "               \
  "min(h.revision) FROM leg AS h WHERE h.session = e.session AND h.revision < e.revision AND "    \
  "h.target = e.target AND h.state = 5), 0) = 0 ORDER BY e.accepted LIMIT 1), leg.accepted) >= "  \
  "leg.accepted AND coalesce((SELECT min(f.revision) FROM leg AS f WHERE f.session = "            \
  "leg.session AND f.revision < leg.revision AND f.target = leg.target AND f.state IN (1, 2, 3, " \
  "5)), 0) = 0"

// What due() asks, for one leg.
base::Result<bool> is_first(Connection& connection, const Record& record) {
  auto row = connection.run(
      "SELECT 1 FROM leg WHERE session = ?1 AND revision = ?2 AND target = ?3 "
      "AND " ENGINE_MAY_GO("?3"));
  row.text(record.session).number(record.revision).text(record.target);
  return row.step();
}

base::Result<std::vector<Leg>> legs(Connection& connection, std::string_view session) {
  auto row = connection.run(
      "SELECT session, revision, target, accepted, patient, state, reason, bundle, attempts, "
      "failures, due, changed, uncertain FROM leg WHERE session = ? ORDER BY revision, target");
  row.text(session);
  return all_legs(row);
}

base::Result<std::vector<Acceptance>> acceptances(Connection& connection,
                                                  std::string_view session) {
  auto row = connection.run(
      "SELECT accepted, revision, content FROM revision WHERE session = ? ORDER BY revision");
  row.text(session);
  std::vector<Acceptance> out;
  while (true) {
    const auto stepped = row.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped) {
      return out;
    }
    Acceptance one;
    one.position = static_cast<Position>(row.number_at(0));
    one.revision = static_cast<std::uint32_t>(row.number_at(1));
    one.content = std::string(row.text_at(2));
    out.push_back(std::move(one));
  }
}

// No engine puts anything off for longer than this; what is due later still was put off by one
// whose clock was wrong.
constexpr std::chrono::milliseconds kDueMax =
    base::limits::kHeldPauseCap + base::limits::kRetryAfterMax;

base::Result<std::vector<Leg>> due(Connection& connection, std::string_view target,
                                   std::int64_t now_ms, std::size_t limit) {
  auto row = connection.run(
      "SELECT session, revision, target, accepted, patient, state, reason, bundle, attempts, "
      "failures, due, changed, uncertain FROM leg INDEXED BY leg_due WHERE target = ?1 AND due IS "
      "NOT NULL AND (due <= ?2 OR due > ?4) "
      "AND " ENGINE_MAY_GO("?1") " ORDER BY accepted LIMIT ?3");
  row.text(target)
      .number(now_ms)
      .number(static_cast<std::int64_t>(limit))
      .number(now_ms + kDueMax.count());
  return all_legs(row);
}

#undef ENGINE_MAY_GO

base::Result<std::optional<std::int64_t>> next_due(Connection& connection,
                                                   std::string_view target) {
  auto row = connection.run(
      "SELECT min(due) FROM leg INDEXED BY leg_due WHERE target = ? AND due IS NOT NULL");
  row.text(target);
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  std::optional<std::int64_t> out;
  if (*stepped && !row.null_at(0)) {
    out = row.number_at(0);
  }
  return out;
}

namespace {

#define ENGINE_LEGS(hint, condition)                                                       \
  "SELECT session, revision, target, accepted, patient, state, reason, bundle, attempts, " \
  "failures, due, changed, uncertain FROM leg" hint " WHERE state = " condition            \
  " ORDER BY accepted LIMIT ?"

// What passes has an index of its own, which only a state written out makes use of.
const char* legs_in(LegState state) {
  switch (state) {
    case LegState::kAccepted:
      return ENGINE_LEGS(" INDEXED BY leg_new", "1");
    case LegState::kDispatched:
      return ENGINE_LEGS(" INDEXED BY leg_sent", "3");
    case LegState::kHeld:
      return ENGINE_LEGS(" INDEXED BY leg_held", "5");
    case LegState::kChecked:
      return ENGINE_LEGS("", "2");
    case LegState::kLanded:
      return ENGINE_LEGS("", "4");
    case LegState::kSuperseded:
      return ENGINE_LEGS("", "6");
    case LegState::kWithdrawn:
      return ENGINE_LEGS("", "7");
  }
  return ENGINE_LEGS("", "0");
}

}  // namespace

base::Result<std::vector<Leg>> in_state(Connection& connection, LegState state, std::size_t limit) {
  auto row = connection.run(legs_in(state));
  row.number(static_cast<std::int64_t>(limit));
  return all_legs(row);
}

base::Result<std::vector<Leg>> untranslated(Connection& connection,
                                            std::span<const std::string> targets,
                                            std::size_t limit) {
  std::vector<Leg> out;
  for (const std::string& target : targets) {
    auto row = connection.run(ENGINE_LEGS(" INDEXED BY leg_new", "1 AND target = ?"));
    row.text(target).number(static_cast<std::int64_t>(limit));
    auto found = all_legs(row);
    if (!found) {
      return found;
    }
    std::move(found->begin(), found->end(), std::back_inserter(out));
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const Leg& a, const Leg& b) { return a.accepted < b.accepted; });
  out.resize(std::min(out.size(), limit));
  return out;
}
#undef ENGINE_LEGS

base::Result<std::vector<Store::Count>> open_counts(Connection& connection) {
  auto row = connection.run(
      "SELECT target, state, count(*), min(accepted) FROM leg WHERE open = 1 GROUP BY target, "
      "state "
      "UNION ALL SELECT target, state, count(*), min(accepted) FROM leg WHERE state = 5 "
      "GROUP BY target, state");
  std::vector<Store::Count> out;
  while (true) {
    const auto stepped = row.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped) {
      return out;
    }
    out.push_back({std::string(row.text_at(0)), static_cast<LegState>(row.number_at(1)),
                   static_cast<std::uint64_t>(row.number_at(2)),
                   static_cast<Position>(row.number_at(3))});
  }
}

}  // namespace engine::journal::queries
