#include "engine/journal/postgres_tables.h"

namespace engine::journal::postgres {
namespace {

// Columns and indexes are those of the SQLite journal, and in its order: the statements are the
// same. Texts are bytes, so that the journal means the same whatever the database's encoding; the
// views at the end are for people. What follows `leg` belongs to the engines that run, not to the
// log.
constexpr const char* kTables = R"sql(
CREATE TABLE record(
  position BIGINT PRIMARY KEY, head BYTEA NOT NULL, leaf BYTEA NOT NULL, kind BIGINT NOT NULL,
  time BYTEA NOT NULL, session BYTEA, patient BYTEA, therapist BYTEA);
CREATE TABLE part(
  position BIGINT NOT NULL, number BIGINT NOT NULL, name BYTEA NOT NULL, codec BIGINT NOT NULL,
  bytes BYTEA NOT NULL, PRIMARY KEY(position, number));
ALTER TABLE part ALTER COLUMN bytes SET STORAGE EXTERNAL;
CREATE INDEX record_session ON record(session) WHERE session IS NOT NULL;
CREATE INDEX record_patient ON record(patient) WHERE patient IS NOT NULL;
CREATE INDEX record_therapist ON record(therapist) WHERE therapist IS NOT NULL;
CREATE INDEX record_time ON record(time);
CREATE TABLE revision(
  session BYTEA NOT NULL, revision BIGINT NOT NULL, accepted BIGINT NOT NULL,
  content BYTEA NOT NULL, PRIMARY KEY(session, revision));
CREATE TABLE leg(
  session BYTEA NOT NULL, revision BIGINT NOT NULL, target BYTEA NOT NULL,
  accepted BIGINT NOT NULL, patient BYTEA NOT NULL, state BIGINT NOT NULL, reason BYTEA NOT NULL,
  bundle BIGINT NOT NULL, attempts BIGINT NOT NULL, failures BIGINT NOT NULL, due BIGINT,
  changed BIGINT NOT NULL, open BIGINT, uncertain BIGINT NOT NULL,
  PRIMARY KEY(session, revision, target))
  WITH (fillfactor = 70, autovacuum_vacuum_scale_factor = 0.02);
CREATE INDEX leg_open ON leg(target, patient, accepted) WHERE open = 1;
CREATE INDEX leg_due ON leg(target, accepted) WHERE due IS NOT NULL;
CREATE INDEX leg_new ON leg(accepted) WHERE state = 1;
CREATE INDEX leg_held ON leg(accepted) WHERE state = 5;
CREATE INDEX leg_sent ON leg(accepted) WHERE state = 3;
CREATE TABLE sequencer(one BIGINT PRIMARY KEY CHECK (one = 1));
INSERT INTO sequencer VALUES(1);
CREATE TABLE writer(
  id BYTEA PRIMARY KEY, batch BIGINT NOT NULL, since TIMESTAMPTZ NOT NULL);
CREATE TABLE engine(name BYTEA PRIMARY KEY, seen TIMESTAMPTZ NOT NULL);
CREATE TABLE agreed(name BYTEA PRIMARY KEY, value BYTEA NOT NULL);
INSERT INTO agreed VALUES('format', '1');
CREATE VIEW readable_record AS SELECT position, convert_from(time, 'UTF8') AS time,
  convert_from(session, 'UTF8') AS session, convert_from(head, 'UTF8') AS head FROM record;
CREATE VIEW readable_leg AS SELECT convert_from(session, 'UTF8') AS session, revision,
  convert_from(target, 'UTF8') AS target, accepted, state, convert_from(reason, 'UTF8') AS reason,
  attempts, failures, due, changed FROM leg;
)sql";

// What form 2 adds.
constexpr const char* kSealTables = R"sql(
CREATE TABLE body_key(
  id BYTEA PRIMARY KEY, subject BYTEA NOT NULL UNIQUE, master BYTEA NOT NULL,
  wrapped BYTEA NOT NULL);
CREATE TABLE body_master(one BIGINT PRIMARY KEY CHECK (one = 1), master BYTEA NOT NULL);
CREATE TABLE destroyed_key(id BYTEA PRIMARY KEY, record BIGINT NOT NULL);
CREATE TABLE destroyed_part(first BIGINT PRIMARY KEY, last BIGINT NOT NULL, record BIGINT NOT NULL);
CREATE INDEX record_kept ON record(kind, position) WHERE kind > 21 AND kind < 27;
UPDATE agreed SET value = '2' WHERE name = 'format';
)sql";

base::Result<std::string> format_of(Connection& connection) {
  auto row = connection.run("SELECT value FROM agreed WHERE name = 'format'");
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  return *stepped ? std::string(row.text_at(0)) : std::string();
}

base::Result<bool> has_tables(Connection& connection) {
  return connection.run("SELECT 1 FROM pg_catalog.pg_class WHERE oid = to_regclass('agreed')")
      .step();
}

base::Error agreed_is_gone() {
  return {
      base::ErrorCode::kCorrupt,
      "the journal's table agreed does not say any more what those who write it agreed on; bring "
      "the journal back from a backup"};
}

// A journal that lost the table which says that it is one.
base::Result<void> check_none(Connection& connection) {
  const auto there =
      connection.run("SELECT 1 FROM pg_catalog.pg_class WHERE oid = to_regclass('record')").step();
  return !there ? there.error() : *there ? agreed_is_gone() : base::Result<void>();
}

// Which run of an engine has its name. Engines of before this column write beside it.
base::Result<void> add_instances(Connection& connection) {
  const auto there = connection
                         .run(
                             "SELECT 1 FROM pg_catalog.pg_attribute WHERE attrelid = "
                             "to_regclass('engine') AND attname = 'instance'")
                         .step();
  return !there   ? there.error()
         : *there ? base::Result<void>()
                  : connection.script("ALTER TABLE engine ADD COLUMN instance BYTEA");
}

}  // namespace

// Engines that start together make them once. Where they are there nothing is asked of them: even
// CREATE ... IF NOT EXISTS takes locks, in another order than an engine that writes.
base::Result<void> create_tables(Connection& connection) {
  auto done = connection.script("BEGIN; SELECT pg_advisory_xact_lock(7310868)",
                                base::limits::kDatabaseTableWait);
  if (!done) {
    return done;
  }
  const auto there = has_tables(connection);
  done = there ? base::Result<void>() : there.error();
  if (done && !*there) {
    done = check_none(connection);
  }
  if (done && !*there) {
    done = connection.script(kTables);
  }
  if (done) {
    const auto format = format_of(connection);
    done = !format          ? format.error()
           : *format == "1" ? connection.script(kSealTables, base::limits::kDatabaseTableWait)
                            : base::Result<void>();
  }
  if (done) {
    done = add_instances(connection);
  }
  if (!done) {
    static_cast<void>(connection.script("ROLLBACK"));
    return done;
  }
  return connection.script("COMMIT");
}

base::Result<void> forget_the_gone(Connection& connection) {
  auto done = connection.script("DELETE FROM writer WHERE since < now() - interval '30 days'");
  return done ? connection.script("DELETE FROM engine WHERE seen < now() - interval '30 days'")
              : done;
}

base::Result<void> check_format(Connection& connection) {
  const auto there = has_tables(connection);
  if (!there) {
    return there.error();
  }
  if (!*there) {
    const auto none = check_none(connection);
    return !none ? none.error()
                 : base::Error(base::ErrorCode::kNotFound,
                               "this database holds no journal; an engine makes it when it starts");
  }
  const auto format = format_of(connection);
  if (!format) {
    return format.error();
  }
  if (format->empty()) {
    return agreed_is_gone();
  }
  if (*format == "1") {
    return base::Error(base::ErrorCode::kUnsupported,
                       "the journal is of an earlier version; an engine of this one brings it up "
                       "to date when it starts");
  }
  if (*format != "2") {
    return base::Error(base::ErrorCode::kUnsupported,
                       "the journal was written by a later version of the engine");
  }
  return {};
}

}  // namespace engine::journal::postgres
