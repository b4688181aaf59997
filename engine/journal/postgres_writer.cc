#include "engine/journal/postgres_writer.h"

#include <libpq-fe.h>

namespace engine::journal::postgres {

using base::Error;
using base::Result;

Error no_sequencer() {
  return {base::ErrorCode::kCorrupt,
          "the journal's table sequencer has lost its row, which keeps engines from writing at the "
          "same time; put it back: INSERT INTO sequencer VALUES(1)"};
}

Result<Connection*> Writer::connection() {
  if (connection_ == nullptr || connection_->lost()) {
    auto opened = connect(home_, false);
    if (!opened) {
      return opened.error();
    }
    connection_ = std::move(*opened);
    connected_(PQbackendPID(connection_->handle()));
  }
  return connection_.get();
}

Error Writer::failed(Error error, End& end) {
  end = connection_ == nullptr || connection_->lost() ? End::kLost : End::kSettled;
  if (end == End::kSettled) {
    static_cast<void>(connection_->script("ROLLBACK"));
  }
  return error;
}

// Whoever holds the row is the only one who writes, until its transaction ends in whatever way:
// also one whose connection was lost, so that what is read behind the lock is final. Each statement
// sees what was committed before it: a snapshot made when the transaction began would be older than
// the lock. The news go out with the commit, to all engines.
Result<void> Writer::begin() {
  const auto connected = connection();
  const auto locked = connected
                          ? (*connected)
                                ->finds(
                                    "BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE; NOTIFY "
                                    "chartferry_journal; SELECT one FROM sequencer FOR UPDATE")
                          : connected.error();
  return !locked || *locked ? (locked ? Result<void>() : locked.error()) : no_sequencer();
}

Result<bool> Writer::has_batch() {
  auto row = connection_->run("SELECT 1 FROM writer WHERE id = ? AND batch = ?");
  row.blob(id_).number(batch_);
  return row.step();
}

Result<void> Writer::note_batch() {
  return connection_
      ->run(
          "INSERT INTO writer VALUES(?1, ?2, now()) ON CONFLICT (id) DO UPDATE SET batch = ?2, "
          "since = now()")
      .blob(id_)
      .number(batch_)
      .finish();
}

// With a synchronous standby it waits for that, too.
Result<void> Writer::commit() {
  return connection_->script("COMMIT", base::limits::kDatabaseCommitWait);
}

}  // namespace engine::journal::postgres
