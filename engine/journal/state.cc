#include "engine/journal/state.h"

#include <algorithm>
#include <string>
#include <string_view>
#include <utility>

namespace engine::journal {

std::string_view name_of(LegState state) {
  switch (state) {
    case LegState::kAccepted:
      return "accepted";
    case LegState::kChecked:
      return "checked";
    case LegState::kDispatched:
      return "dispatched";
    case LegState::kLanded:
      return "landed";
    case LegState::kHeld:
      return "held";
    case LegState::kSuperseded:
      return "superseded";
    case LegState::kWithdrawn:
      return "withdrawn";
  }
  return "unknown";
}

std::optional<LegState> leg_state_of(std::string_view name) {
  for (int i = 1; i <= 7; ++i) {
    if (name_of(static_cast<LegState>(i)) == name) {
      return static_cast<LegState>(i);
    }
  }
  return std::nullopt;
}

namespace state {
namespace {

// `open` is 1 for accepted, checked and dispatched, NULL otherwise; `due` is NULL for what nothing
// will move by itself. Both are there for the partial indexes that keep the cost flat as the
// journal grows.
constexpr const char* kTables = R"sql(
CREATE TABLE IF NOT EXISTS revision(
  session TEXT NOT NULL, revision INTEGER NOT NULL, accepted INTEGER NOT NULL,
  content TEXT NOT NULL,
  PRIMARY KEY(session, revision)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS leg(
  session TEXT NOT NULL, revision INTEGER NOT NULL, target TEXT NOT NULL, accepted INTEGER NOT NULL,
  patient TEXT NOT NULL, state INTEGER NOT NULL, reason TEXT NOT NULL, bundle INTEGER NOT NULL,
  attempts INTEGER NOT NULL, failures INTEGER NOT NULL, due INTEGER, changed INTEGER NOT NULL,
  open INTEGER, uncertain INTEGER NOT NULL, PRIMARY KEY(session, revision, target)) WITHOUT ROWID;
CREATE INDEX IF NOT EXISTS leg_open ON leg(target, patient, accepted) WHERE open = 1;
CREATE INDEX IF NOT EXISTS leg_due ON leg(target, accepted) WHERE due IS NOT NULL;
CREATE INDEX IF NOT EXISTS leg_new ON leg(accepted) WHERE state = 1;
CREATE INDEX IF NOT EXISTS leg_held ON leg(accepted) WHERE state = 5;
CREATE INDEX IF NOT EXISTS leg_sent ON leg(accepted) WHERE state = 3;
)sql";

using sql::Connection;

// Earlier revisions that are held and surely never landed: the new one carries all that they hold.
constexpr const char* kSupersede =
    "UPDATE leg SET state = 6, due = NULL, changed = ?1 WHERE session = ?2 AND revision < ?3 AND "
    "target = ?4 AND state = 5 AND uncertain = 0";

base::Result<void> supersede(Connection& connection, const Record& record,
                             std::string_view target) {
  return connection.run(kSupersede)
      .number(static_cast<std::int64_t>(record.position))
      .text(record.session)
      .number(record.revision)
      .text(target)
      .finish();
}

// A leg for `target`, in the order of what was accepted at `accepted`. One that is there stays.
base::Result<void> add_leg(Connection& connection, const Record& record, std::string_view target,
                           std::int64_t accepted) {
  return connection
      .run(
          "INSERT INTO leg VALUES(?, ?, ?, ?, ?, 1, '', 0, 0, 0, NULL, ?, 1, 0) ON CONFLICT "
          "(session, revision, target) DO NOTHING")
      .text(record.session)
      .number(record.revision)
      .text(target)
      .number(accepted)
      .text(record.patient)
      .number(static_cast<std::int64_t>(record.position))
      .finish();
}

base::Result<void> accept(Connection& connection, const Record& record) {
  auto added = connection.run("INSERT INTO revision VALUES(?, ?, ?, ?)")
                   .text(record.session)
                   .number(record.revision)
                   .number(static_cast<std::int64_t>(record.position))
                   .text(record.content)
                   .finish();
  std::string_view rest = record.targets;
  while (added && !rest.empty()) {
    const std::size_t comma = std::min(rest.find(','), rest.size());
    const std::string_view target = rest.substr(0, comma);
    rest.remove_prefix(std::min(comma + 1, rest.size()));
    added = supersede(connection, record, target);
    if (added) {
      added = add_leg(connection, record, target, static_cast<std::int64_t>(record.position));
    }
  }
  return added;
}

// What was accepted before goes to one target more. It keeps its place in the order.
base::Result<void> also_for(Connection& connection, const Record& record) {
  std::int64_t accepted = 0;
  {
    auto row = connection.run("SELECT accepted FROM revision WHERE session = ? AND revision = ?");
    row.text(record.session).number(record.revision);
    const auto known = row.step();
    if (!known || !*known) {
      return known ? base::Result<void>() : known.error();
    }
    accepted = row.number_at(0);
  }
  auto done = supersede(connection, record, record.target);
  return done ? add_leg(connection, record, record.target, accepted) : std::move(done);
}

// Of a revision behind one that will not land: what is on its way, or may have landed, stays as it
// is.
#define ENGINE_NOT_SENT_YET "(state IN (1, 2) OR (state = 5 AND uncertain = 0))"

// The part of an update that is the same for all: which leg, and who changed it.
base::Result<void> update(Connection& connection, const char* sql, const Record& record) {
  return connection.run(sql)
      .number(static_cast<std::int64_t>(record.position))
      .text(record.session)
      .number(record.revision)
      .text(record.target)
      .finish();
}

// Bundles say what differs from the revisions before, so that the later ones are made again. Those
// that were held too: they may have been held for what is missing now, and a release sends what was
// made for them. Records of before `anew` was written left them.
base::Result<void> make_followers_anew(Connection& connection, const Record& record) {
#define ENGINE_ANEW                                                                              \
  "UPDATE leg SET state = 1, due = NULL, bundle = 0, open = 1, changed = ?1 WHERE session = ?2 " \
  "AND revision > ?3 AND target = ?4 AND "
  return update(connection,
                record.anew ? ENGINE_ANEW ENGINE_NOT_SENT_YET : ENGINE_ANEW "state IN (1, 2)",
                record);
#undef ENGINE_ANEW
}

base::Result<void> hold(Connection& connection, const Record& record, bool later_exists) {
  // A hold before any sending comes with its own parts; one by the target keeps the bundle it
  // refused. A refusal behind which a later revision waits is superseded by it at once, and the
  // later one, made in the belief that this one would land, is made again.
  const bool uncertain = record.unknown || record.still_unknown;
  const bool superseded = later_exists && !uncertain;
  auto done =
      connection
          .run(
              "UPDATE leg SET state = ?5, reason = ?6, due = ?7, open = NULL, changed = ?1, "
              "bundle = CASE WHEN state = 1 THEN ?1 ELSE bundle END, failures = failures + ?8, "
              "uncertain = ?9 "
              "WHERE session = ?2 AND revision = ?3 AND target = ?4")
          .number(static_cast<std::int64_t>(record.position))
          .text(record.session)
          .number(record.revision)
          .text(record.target)
          .number(superseded ? 6 : 5)
          .text(record.reason)
          .number_or_null(record.due_ms, record.due_ms == 0 || superseded)
          .number(record.counted ? 1 : 0)
          .number(uncertain ? 1 : 0)
          .finish();
  if (done && superseded) {
    done = make_followers_anew(connection, record);
  }
  return done;
}

base::Result<void> withdraw(Connection& connection, const Record& record) {
  auto done = update(connection,
                     "UPDATE leg SET state = 7, due = NULL, open = NULL, changed = ?1 WHERE "
                     "session = ?2 AND revision = ?3 AND target = ?4",
                     record);
  if (done && record.revived != 0) {
    Record earlier = record;
    earlier.revision = record.revived;
#define ENGINE_HELD_AGAIN(more)                             \
  "UPDATE leg SET state = 5, due = NULL, changed = ?1" more \
  " WHERE session = ?2 AND revision = ?3 AND target = ?4 AND state = 6"
    // Records of before let it keep its bundle, which may count on what never landed.
    done = update(connection,
                  record.revived_unmade ? ENGINE_HELD_AGAIN(", bundle = 0") : ENGINE_HELD_AGAIN(""),
                  earlier);
#undef ENGINE_HELD_AGAIN
  }
  return done && record.anew ? make_followers_anew(connection, record) : done;
}

// What is made of it now is what the later ones have to differ from.
base::Result<void> remap(Connection& connection, const Record& record) {
  auto done = update(connection,
                     "UPDATE leg SET state = 1, due = NULL, bundle = 0, open = 1, failures = 0, "
                     "changed = ?1 WHERE session = ?2 AND revision = ?3 AND target = ?4",
                     record);
  return done && record.anew ? make_followers_anew(connection, record) : done;
}

base::Result<bool> has_later(Connection& connection, const Record& record) {
  auto row = connection.run(
      "SELECT 1 FROM leg WHERE session = ? AND revision > ? AND target = ? AND state <> 7");
  row.text(record.session).number(record.revision).text(record.target);
  return row.step();
}

base::Result<void> answer(Connection& connection, const Record& record) {
  return connection
      .run(
          "UPDATE leg SET state = 2, open = 1, reason = ?5, due = ?6, changed = ?1, "
          "failures = failures + ?7, uncertain = CASE WHEN ?8 = 1 THEN 1 ELSE uncertain END "
          "WHERE session = ?2 AND revision = ?3 AND target = ?4")
      .number(static_cast<std::int64_t>(record.position))
      .text(record.session)
      .number(record.revision)
      .text(record.target)
      .text(record.reason)
      .number(record.due_ms)
      .number(record.counted ? 1 : 0)
      .number(record.unknown ? 1 : 0)
      .finish();
}

// What was on its way when the engine ended may have arrived or not; sending it again is safe. What
// waits for a time is due at once: the clock may have been set since.
base::Result<void> start(Connection& connection, const Record& record) {
  if (record.reason == kSharedStart) {
    return {};  // others are at work
  }
  auto done = connection
                  .run(
                      "UPDATE leg SET state = 2, reason = 'interrupted', due = 0, uncertain = 1, "
                      "changed = ? WHERE state = 3")
                  .number(static_cast<std::int64_t>(record.position))
                  .finish();
  if (done) {
    done = connection.run("UPDATE leg SET due = 0 WHERE due > 0").finish();
  }
  return done;
}

}  // namespace

base::Result<void> create_tables(Connection& connection) {
  return connection.script(kTables);
}

base::Result<bool> has_followers(Connection& connection, const Record& record) {
  auto row = connection.run(
      "SELECT 1 FROM leg WHERE session = ? AND revision > ? AND target = ? "
      "AND " ENGINE_NOT_SENT_YET);
  row.text(record.session).number(record.revision).text(record.target);
  return row.step();
}

#undef ENGINE_NOT_SENT_YET

base::Result<void> apply(Connection& connection, const Record& record) {
  switch (record.kind) {
    case Kind::kAccepted:
      return accept(connection, record);
    case Kind::kChecked:
      return update(connection,
                    "UPDATE leg SET state = 2, reason = '', bundle = ?1, due = 0, open = 1, "
                    "changed = ?1 WHERE session = ?2 AND revision = ?3 AND target = ?4",
                    record);
    case Kind::kHeld: {
      const base::Result<bool> later = has_later(connection, record);
      if (!later) {
        return later.error();
      }
      return hold(connection, record, *later);
    }
    case Kind::kDispatched:
      return update(connection,
                    "UPDATE leg SET state = 3, due = NULL, open = 1, attempts = attempts + 1, "
                    "changed = ?1 WHERE session = ?2 AND revision = ?3 AND target = ?4",
                    record);
    case Kind::kAnswered:
      return answer(connection, record);
    case Kind::kLanded:
      return update(connection,
                    "UPDATE leg SET state = 4, reason = '', due = NULL, open = NULL, changed = ?1 "
                    "WHERE session = ?2 AND revision = ?3 AND target = ?4",
                    record);
    case Kind::kReleased:
      return update(connection,
                    "UPDATE leg SET state = 2, due = 0, open = 1, failures = 0, changed = ?1 WHERE "
                    "session = ?2 AND revision = ?3 AND target = ?4",
                    record);
    case Kind::kRemapped:
      return remap(connection, record);
    case Kind::kWithdrawn:
      return withdraw(connection, record);
    case Kind::kAlsoFor:
      return also_for(connection, record);
    case Kind::kStarted:
      return start(connection, record);
    case Kind::kUnreadable:
    case Kind::kRefused:
    case Kind::kRepeated:
    case Kind::kConflicting:
    case Kind::kRead:
    case Kind::kStopped:
    case Kind::kApproved:
    case Kind::kPaused:
    case Kind::kResumed:
    case Kind::kNoticed:
    case Kind::kHandedOut:
    case Kind::kLinkEnded:
    case Kind::kShredded:
    case Kind::kExpired:
    case Kind::kRekeyed:
    case Kind::kHold:
    case Kind::kHoldEnded:
    case Kind::kSignedIn:
    case Kind::kSignedOut:
    case Kind::kNotLetIn:
      return {};
  }
  return {};
}

Leg leg_of(const sql::Run& row) {
  Leg leg;
  leg.session = std::string(row.text_at(0));
  leg.revision = static_cast<std::uint32_t>(row.number_at(1));
  leg.target = std::string(row.text_at(2));
  leg.accepted = static_cast<Position>(row.number_at(3));
  leg.patient = std::string(row.text_at(4));
  leg.state = static_cast<LegState>(row.number_at(5));
  leg.reason = std::string(row.text_at(6));
  leg.bundle = static_cast<Position>(row.number_at(7));
  leg.attempts = static_cast<std::uint32_t>(row.number_at(8));
  leg.failures = static_cast<std::uint32_t>(row.number_at(9));
  leg.due_ms = row.number_at(10);
  leg.changed = static_cast<Position>(row.number_at(11));
  leg.uncertain = row.number_at(12) != 0;
  return leg;
}

}  // namespace state
}  // namespace engine::journal
