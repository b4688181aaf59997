#include "engine/journal/sqlite_store.h"

#include <algorithm>
#include <mutex>
#include <utility>

#include <sys/stat.h>

#include "engine/base/limits.h"
#include "engine/journal/body_keys.h"
#include "engine/journal/file_lock.h"
#include "engine/journal/keeping.h"
#include "engine/journal/log_writer.h"
#include "engine/journal/queries.h"
#include "engine/journal/sqlite.h"
#include "engine/journal/sqlite_tables.h"
#include "engine/journal/sqlite_types.h"
#include "engine/journal/state.h"

namespace engine::journal {
namespace {

using sqlite::Connection;

base::Error agreed_is_gone() {
  return {base::ErrorCode::kCorrupt,
          "the table agreed does not say any more which key the patients are hidden with: under "
          "another one no legal hold would be found; bring the journal back from a backup"};
}

// What lies in the file beside the records.
base::Result<void> check_file(Connection& connection, std::size_t limit,
                              std::vector<std::string>& out) {
  auto schema = sqlite::check_schema(connection);
  if (!schema) {
    return schema.error();
  }
  for (std::string& text : *schema) {
    if (out.size() < limit) {
      out.push_back(std::move(text));
    }
  }
  return {};
}

// Pages and indexes: an index that misses a row hides it from every search.
base::Result<void> check_pages(Connection& connection, std::size_t limit,
                               std::vector<std::string>& out) {
  auto row = connection.run("PRAGMA integrity_check");
  while (true) {
    const auto stepped = row.step();
    if (!stepped || !*stepped) {
      return stepped ? base::Result<void>() : stepped.error();
    }
    if (out.size() < limit && row.text_at(0) != "ok") {
      out.push_back("database file: " + std::string(row.text_at(0)));
    }
  }
}

base::Result<std::unique_ptr<Connection>> open_reader(const SqliteOptions& options,
                                                      bool immutable) {
  auto opened =
      Connection::open(options.path, {.read_only = true, .create = false, .immutable = immutable});
  if (!opened) {
    return opened;
  }
  auto ready = sqlite::prepare_for_reading(**opened, options.path);
  if (ready && options.mode == OpenMode::kRead && options.sealing != nullptr) {
    ready = body_keys::agree(**opened, options.sealing.get(), false);
  }
  if (!ready) {
    return base::Error(ready.error().code, ready.error().detail, options.path);
  }
  return opened;
}

// SQLite makes files of its own to read beside writers. Where it cannot (a read-only disk, a reader
// without rights) and nothing waits in its log, nobody is writing, and the file alone is all.
base::Result<std::unique_ptr<Connection>> open_any_reader(const SqliteOptions& options) {
  auto opened = open_reader(options, false);
  if (opened || opened.error().code != base::ErrorCode::kIo || options.mode != OpenMode::kRead) {
    return opened;
  }
  struct stat log {};
  if (::stat((options.path + "-wal").c_str(), &log) == 0 && log.st_size > 0) {
    return base::Error(base::ErrorCode::kIo,
                       opened.error().detail +
                           "; a part of the journal is still in the file -wal beside it: copy both "
                           "to where they can be written, and read them there",
                       options.path);
  }
  auto alone = open_reader(options, true);
  return alone ? std::move(alone) : std::move(opened);
}

class SqliteStore final : public Store {
  template <class Question>
  auto read(const Question& question) const {
    const std::lock_guard lock(reader_mutex_);
    return question(reader_ ? *reader_ : *writer_);
  }
  // For what reads the whole log: a connection of its own, so that nobody waits for it.
  template <class Question>
  auto read_long(const Question& question) const
      -> decltype(question(std::declval<Connection&>())) {
    if (!reader_) {
      return read(question);
    }
    auto own = open_any_reader(options_);
    if (!own) {
      return std::move(own).error();
    }
    return question(**own);
  }

 public:
  SqliteStore(FileLock lock, SqliteOptions options, std::unique_ptr<Connection> writer,
              std::unique_ptr<Connection> reader, bool shut)
      : lock_(std::move(lock)),
        options_(std::move(options)),
        sealing_(options_.sealing),
        writer_(std::move(writer)),
        reader_(std::move(reader)),
        shut_(shut) {}

  base::Result<std::vector<Outcome>> commit(std::vector<Change>& batch,
                                            const base::Clock& clock) override;
  base::Result<void> restore(const std::vector<CopiedRecord>& records) override;

  base::Result<void> agree(std::string_view name, std::string_view value) override;
  base::Result<void> retract(std::string_view name) override;
  base::Result<std::string> agreed(std::string_view name) const override {
    return read([&](Connection& c) -> base::Result<std::string> {
      const auto lost = sqlite::lost_agreed(c);
      if (!lost || *lost) {
        return lost ? agreed_is_gone() : lost.error();
      }
      const auto there = sqlite::has_agreed(c);
      return there && *there ? queries::agreed(c, name)
             : there         ? base::Result<std::string>(std::string())
                             : there.error();
    });
  }

  const Sealing* sealing() const override { return sealing_.get(); }
  base::Result<std::vector<WrappedKey>> body_keys() const override {
    return read([](Connection& c) { return body_keys::all(c); });
  }
  base::Result<std::string> master() const override {
    return read([](Connection& c) { return body_keys::master(c); });
  }
  base::Result<std::size_t> rewrap(std::string_view master, std::size_t limit) override;
  base::Result<void> restore_keys(const std::vector<WrappedKey>& keys,
                                  std::string_view master) override;
  base::Result<std::optional<Position>> destroyed_by(Position position,
                                                     std::string_view name) const override {
    return read([&](Connection& c) { return body_keys::destroyed_by(c, position, name); });
  }

  base::Result<std::vector<DestroyedRow>> destroyed_rows() const override {
    return read([](Connection& c) { return body_keys::destroyed_rows(c); });
  }

  base::Result<std::vector<Record>> legal_holds() const override {
    return read([](Connection& c) -> base::Result<std::vector<Record>> {
      const auto good = sqlite::check_searched_types(c);
      return good ? keeping::holds(c) : good.error();
    });
  }

  base::Result<Position> size() const override {
    return read([](Connection& c) { return queries::size(c); });
  }
  base::Result<std::string> head_text(Position position) const override {
    return read([&](Connection& c) { return queries::head_text(c, position); });
  }
  base::Result<std::string> part(Position position, std::string_view name) const override {
    return read([&](Connection& c) { return queries::part(c, sealing_.get(), position, name); });
  }
  base::Result<void> scan(Position first,
                          const std::function<bool(Position, std::string_view,
                                                   const base::Digest&)>& visit) const override {
    return read_long([&](Connection& c) { return queries::scan(c, first, visit); });
  }
  base::Result<void> scan_parts(Position first,
                                const std::function<bool(const PartRow&)>& visit) const override {
    return read_long([&](Connection& c) { return queries::scan_parts(c, first, visit); });
  }
  base::Result<std::vector<Record>> search(const Query& query) const override {
    return read([&](Connection& c) { return queries::search(c, query); });
  }
  base::Result<std::vector<Leg>> legs(std::string_view session) const override {
    return read([&](Connection& c) { return queries::legs(c, session); });
  }
  base::Result<std::vector<Acceptance>> acceptances(std::string_view session) const override {
    return read([&](Connection& c) { return queries::acceptances(c, session); });
  }
  base::Result<std::vector<Leg>> untranslated(std::span<const std::string> targets,
                                              std::size_t limit) const override {
    return read([&](Connection& c) { return queries::untranslated(c, targets, limit); });
  }
  base::Result<std::vector<Leg>> due(std::string_view target, std::int64_t now_ms,
                                     std::size_t limit) const override {
    return read([&](Connection& c) { return queries::due(c, target, now_ms, limit); });
  }
  base::Result<std::optional<std::int64_t>> next_due(std::string_view target) const override {
    return read([&](Connection& c) { return queries::next_due(c, target); });
  }
  base::Result<std::vector<Leg>> in_state(LegState state, std::size_t limit) const override {
    return read([&](Connection& c) { return queries::in_state(c, state, limit); });
  }
  base::Result<std::vector<std::string>> check_fold(std::size_t limit) const override;
  base::Result<std::vector<Count>> open_counts() const override {
    return read([](Connection& c) { return queries::open_counts(c); });
  }

 private:
  // In one transaction that keeps other processes out; rolled back after an error.
  template <class Work>
  auto transact(const Work& work) -> decltype(work(std::declval<LogWriter&>()));
  void empty_wal();

  FileLock lock_;
  const SqliteOptions options_;
  std::shared_ptr<const Sealing> sealing_;
  std::unique_ptr<Connection> writer_;
  std::unique_ptr<Connection> reader_;  // none in memory: there the one connection serves both
  const bool shut_;  // opened without the master key that bodies are sealed under
  mutable std::mutex reader_mutex_;
};

template <class Work>
auto SqliteStore::transact(const Work& work) -> decltype(work(std::declval<LogWriter&>())) {
  std::unique_lock<std::mutex> lock;
  if (!reader_) {
    lock = std::unique_lock(reader_mutex_);
  }
  if (auto begun = writer_->script("BEGIN IMMEDIATE"); !begun) {
    return std::move(begun).error();
  }
  LogWriter log(*writer_, sealing_.get());
  auto done = [&]() -> decltype(work(log)) {
    // Another process may have appended since, so the end is read each time.
    if (auto begun = log.begin(); !begun) {
      return begun.error();
    }
    auto written = work(log);
    if (written) {
      if (auto committed = writer_->script("COMMIT"); !committed) {
        return std::move(committed).error();
      }
    }
    return written;
  }();
  if (!done) {
    // Fails when SQLite has already rolled back by itself, which is just as well.
    static_cast<void>(writer_->script("ROLLBACK"));
  }
  return done;
}

// A transaction that changes nothing does not reach the disk. The table is made with the search
// key's row alone, which every engine does before it writes.
base::Result<void> touch(sql::Connection& connection, const std::string& time) {
  const auto there = sqlite::has_agreed(connection);
  if (!there || !*there) {
    return there ? base::Result<void>() : there.error();
  }
  return connection.run("INSERT OR REPLACE INTO agreed VALUES('tried', ?)").blob(time).finish();
}

base::Result<std::vector<Outcome>> SqliteStore::commit(std::vector<Change>& batch,
                                                       const base::Clock& clock) {
  if (auto good = body_keys::check_bodies(batch, shut_); !good) {
    return good.error();
  }
  const bool destroying = std::any_of(batch.begin(), batch.end(), [](const Change& change) {
    return destroys(change.record.kind);
  });
  auto done = transact([&](LogWriter& log) {
    // Not before the wait for another writer, whose records would be later than this.
    const std::string time = base::to_instant(clock.now());
    // A legal hold that is not found would not be kept.
    const auto ready = batch.empty() ? touch(log.connection(), time)
                       : destroying  ? sqlite::check_searched_types(log.connection())
                                     : base::Result<void>();
    return ready ? log.write_all(batch, time) : base::Result<std::vector<Outcome>>(ready.error());
  });
  if (done && std::any_of(done->begin(), done->end(), [](const Outcome& outcome) {
        return outcome.verdict == Outcome::Verdict::kWritten && destroys(outcome.record.kind);
      })) {
    empty_wal();
  }
  return done;
}

base::Result<std::size_t> SqliteStore::rewrap(std::string_view master, std::size_t limit) {
  auto done = transact([&](LogWriter& log) {
    return body_keys::rewrap(log.connection(), *sealing_, master, limit);
  });
  if (done && *done < limit) {
    empty_wal();
  }
  return done;
}

base::Result<void> SqliteStore::restore_keys(const std::vector<WrappedKey>& keys,
                                             std::string_view master) {
  return transact(
      [&](LogWriter& log) { return body_keys::restore(log.connection(), keys, master); });
}

base::Result<void> SqliteStore::agree(std::string_view name, std::string_view value) {
  if (!writer_) {
    return base::Error(base::ErrorCode::kUnsupported, "the journal is open for reading only");
  }
  return transact([&](LogWriter& log) -> base::Result<void> {
    const auto lost = sqlite::lost_agreed(log.connection());
    if (!lost || *lost) {
      return lost ? agreed_is_gone() : lost.error();
    }
    const auto made = log.connection().script(sqlite::kAgreedTable);
    return made ? queries::agree(log.connection(), name, value) : made;
  });
}

// The table is there with its first row, and goes with its last.
base::Result<void> SqliteStore::retract(std::string_view name) {
  return transact([&](LogWriter& log) -> base::Result<void> {
    const auto there = sqlite::has_agreed(log.connection());
    if (!there || !*there) {
      return there ? base::Result<void>() : there.error();
    }
    const auto done = queries::retract(log.connection(), name);
    const auto none = done ? sqlite::lost_agreed(log.connection()) : done.error();
    return !none ? none.error() : *none ? log.connection().script("DROP TABLE agreed") : done;
  });
}

// Pages as they were before stay in the log of SQLite until they are overwritten. While somebody
// reads them this has to wait for the next time; an engine, whose senders wait, does not even try
// twice.
void SqliteStore::empty_wal() {
  if (lock_.held()) {
    writer_->wait_for_others(std::chrono::milliseconds(0));
  }
  static_cast<void>(writer_->script("PRAGMA wal_checkpoint(TRUNCATE)"));
  writer_->wait_for_others(base::limits::kJournalBusyWait);
}

base::Result<void> SqliteStore::restore(const std::vector<CopiedRecord>& records) {
  return transact([&](LogWriter& log) { return log.take_over(records); });
}

base::Result<std::vector<std::string>> SqliteStore::check_fold(std::size_t limit) const {
  auto again = Connection::open(":memory:", {.read_only = false, .create = true});
  if (!again) {
    return again.error();
  }
  if (auto created = state::create_tables(**again); !created) {
    return created.error();
  }
  return read_long([&](Connection& c) -> base::Result<std::vector<std::string>> {
    std::vector<std::string> out;
    if (auto checked = check_pages(c, limit, out); !checked) {
      return checked.error();
    }
    if (auto checked = check_file(c, limit, out); !checked) {
      return checked.error();
    }
    auto compared = sqlite::check_types(c, limit - out.size());
    if (compared) {
      out.insert(out.end(), compared->begin(), compared->end());
      compared = queries::compare_with_fold(c, **again, limit - out.size());
    }
    if (!compared && !out.empty()) {
      out.push_back("states: " + compared.error().text());
      return out;
    }
    if (compared) {
      compared->insert(compared->begin(), out.begin(), out.end());
    }
    return compared;
  });
}

// Nothing is looked up about patients where the look cannot be written down.
base::Error unwritable(const base::Error& cause, const std::string& path) {
  return {base::ErrorCode::kIo,
          "the journal cannot be written here (" + cause.detail +
              "); what only reads works all the same: list without names, verify, prove",
          path};
}

base::Result<std::unique_ptr<Connection>> open_writer(const SqliteOptions& options, bool create) {
  auto opened = Connection::open(options.path, {.read_only = false, .create = create});
  if (!opened) {
    return opened;
  }
  const base::Error read_only(base::ErrorCode::kIo, "it is read-only");
  if ((*opened)->read_only()) {
    return unwritable(read_only, options.path);
  }
  auto ready = sqlite::prepare_for_writing(**opened, create);
  if (!ready && ready.error().code == base::ErrorCode::kIo && !create) {
    return unwritable(ready.error(), options.path);
  }
  const auto agreed = ready ? sqlite::has_agreed(**opened) : ready.error();
  if (agreed && *agreed && options.mode != OpenMode::kCopy) {
    ready = queries::check_copied(**opened);
  }
  if (ready && (options.mode == OpenMode::kEngine || options.sealing != nullptr)) {
    ready = body_keys::agree(**opened, options.sealing.get(), options.mode == OpenMode::kEngine);
  }
  if (ready && options.mode == OpenMode::kEngine) {
    ready = sqlite::check_unique(**opened);
  }
  if (ready && options.mode == OpenMode::kEngine) {
    ready = sqlite::check_searched_types(**opened);
  }
  if (!ready) {
    return base::Error(ready.error().code, ready.error().detail, options.path);
  }
  return opened;
}

}  // namespace

base::Result<std::unique_ptr<Store>> open_sqlite_store(const SqliteOptions& options) {
  const bool memory = options.path == ":memory:";
  const bool engine = options.mode == OpenMode::kEngine || options.mode == OpenMode::kCopy;
  FileLock lock;
  if (engine && !memory) {
    auto taken = FileLock::take(options.path);
    if (!taken) {
      return taken.error();
    }
    lock = std::move(*taken);
  } else if (options.mode == OpenMode::kCommand) {
    if (auto one = check_one_name(options.path); !one) {
      return one.error();
    }
  }
  std::unique_ptr<Connection> writer;
  if (options.mode != OpenMode::kRead) {
    auto opened = open_writer(options, engine);
    if (!opened) {
      return opened.error();
    }
    writer = std::move(*opened);
  }
  const auto shut = writer != nullptr ? body_keys::shut(*writer, options.sealing.get())
                                      : base::Result<bool>(true);
  std::unique_ptr<Connection> reader;
  if (!memory) {
    auto opened = open_any_reader(options);
    if (!opened) {
      return opened.error();
    }
    reader = std::move(*opened);
  }
  return std::unique_ptr<Store>(std::make_unique<SqliteStore>(
      std::move(lock), options, std::move(writer), std::move(reader), !shut || *shut));
}

}  // namespace engine::journal
