#include "engine/journal/postgres_store.h"

#include <algorithm>
#include <utility>

#include "engine/base/limits.h"
#include "engine/journal/body_keys.h"
#include "engine/journal/keeping.h"
#include "engine/journal/log_writer.h"
#include "engine/journal/postgres_check.h"
#include "engine/journal/postgres_fellows.h"
#include "engine/journal/postgres_home.h"
#include "engine/journal/postgres_readers.h"
#include "engine/journal/postgres_sends.h"
#include "engine/journal/postgres_tables.h"
#include "engine/journal/postgres_writer.h"
#include "engine/journal/queries.h"
#include "engine/journal/sqlite.h"
#include "engine/journal/state.h"

namespace engine::journal {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using postgres::Fellows;
using sql::Connection;

class PostgresStore final : public Store {
 public:
  PostgresStore(const postgres::Home& home, std::string writer_id, std::unique_ptr<Fellows> fellows,
                std::shared_ptr<const Sealing> sealing, bool shut)
      : fellows_(std::move(fellows)),
        sealing_(std::move(sealing)),
        shut_(shut),
        writer_(
            home, std::move(writer_id),
            [this](int backend) {
              if (fellows_) {
                fellows_->own_writer(backend);
              }
            },
            sealing_.get()),
        readers_(home),
        queue_readers_(home, postgres::Readers::Plans::kAlongIndexes) {}

  Result<std::vector<Outcome>> commit(std::vector<Change>& batch,
                                      const base::Clock& clock) override;
  Result<void> restore(const std::vector<CopiedRecord>& records) override {
    return writer_.transact([&](LogWriter& log) { return log.take_over(records); },
                            [](const Result<void>&) {});
  }

  std::string engine() const override { return fellows_ ? fellows_->name() : std::string(); }
  bool mine(std::string_view work) const override { return !fellows_ || fellows_->mine(work); }
  bool may_send() const override { return !fellows_ || fellows_->may_send(); }
  std::string unheard() const override { return fellows_ ? fellows_->unheard() : std::string(); }
  Result<std::vector<Leg>> orphans() const override;
  void on_news(std::function<void()> told) override {
    if (fellows_) {
      fellows_->on_news(std::move(told));
    }
  }
  Result<void> agree(std::string_view name, std::string_view value) override;
  Result<void> retract(std::string_view name) override;
  Result<std::string> agreed(std::string_view name) const override {
    return readers_.ask([&](Connection& c) { return queries::agreed(c, name); });
  }

  const Sealing* sealing() const override { return sealing_.get(); }
  Result<std::vector<WrappedKey>> body_keys() const override {
    return readers_.ask([](Connection& c) { return body_keys::all(c); });
  }
  Result<std::string> master() const override {
    return readers_.ask([](Connection& c) { return body_keys::master(c); });
  }
  Result<std::size_t> rewrap(std::string_view master, std::size_t limit) override;
  Result<void> restore_keys(const std::vector<WrappedKey>& keys, std::string_view master) override {
    return writer_.transact(
        [&](LogWriter& log) { return body_keys::restore(log.connection(), keys, master); },
        [](const Result<void>&) {});
  }
  Result<std::optional<Position>> destroyed_by(Position position,
                                               std::string_view name) const override {
    return readers_.ask([&](Connection& c) { return body_keys::destroyed_by(c, position, name); });
  }

  Result<std::vector<DestroyedRow>> destroyed_rows() const override {
    return readers_.ask([](Connection& c) { return body_keys::destroyed_rows(c); });
  }

  Result<std::vector<Record>> legal_holds() const override {
    return readers_.ask([](Connection& c) { return keeping::holds(c); });
  }

  Result<Position> size() const override {
    return readers_.ask([](Connection& c) { return queries::size(c); });
  }
  Result<std::string> head_text(Position position) const override {
    return readers_.ask([&](Connection& c) { return queries::head_text(c, position); });
  }
  Result<std::string> part(Position position, std::string_view name) const override {
    return readers_.ask(
        [&](Connection& c) { return queries::part(c, sealing_.get(), position, name); });
  }
  Result<void> scan(Position first,
                    const std::function<bool(Position, std::string_view, const base::Digest&)>&
                        visit) const override {
    bool lost = false;
    return readers_.ask_once([&](Connection& c) { return queries::scan(c, first, visit); }, lost);
  }
  Result<void> scan_parts(Position first,
                          const std::function<bool(const PartRow&)>& visit) const override {
    bool lost = false;
    return readers_.ask_once([&](Connection& c) { return queries::scan_parts(c, first, visit); },
                             lost);
  }
  Result<std::vector<Record>> search(const Query& query) const override {
    return readers_.ask([&](Connection& c) { return queries::search(c, query); });
  }
  Result<std::vector<Leg>> legs(std::string_view session) const override {
    return readers_.ask([&](Connection& c) { return queries::legs(c, session); });
  }
  Result<std::vector<Acceptance>> acceptances(std::string_view session) const override {
    return readers_.ask([&](Connection& c) { return queries::acceptances(c, session); });
  }
  Result<std::vector<Leg>> untranslated(std::span<const std::string> targets,
                                        std::size_t limit) const override;
  Result<std::vector<Leg>> due(std::string_view target, std::int64_t now_ms,
                               std::size_t limit) const override;
  Result<std::optional<std::int64_t>> next_due(std::string_view target) const override {
    auto due = queue_readers_.ask([&](Connection& c) { return queries::next_due(c, target); });
    if (due && due->has_value()) {
      **due -= behind_ms();
    }
    return due;
  }
  Result<std::vector<Leg>> in_state(LegState state, std::size_t limit) const override {
    return queue_readers_.ask([&](Connection& c) { return queries::in_state(c, state, limit); });
  }
  Result<std::vector<Count>> open_counts() const override {
    return readers_.ask([](Connection& c) { return queries::open_counts(c); });
  }
  Result<std::vector<std::string>> check_fold(std::size_t limit) const override;

 private:
  void vacuum_keys();
  // What is due is kept by the database's clock: engines whose own differ by more than anything is
  // put off for would each send at once what the other has put off.
  std::int64_t behind_ms() const { return fellows_ ? fellows_->behind_ms() : 0; }

  std::unique_ptr<Fellows> fellows_;  // of an engine
  std::shared_ptr<const Sealing> sealing_;
  const bool shut_;  // opened without the master key that bodies are sealed under
  postgres::Writer writer_;
  mutable postgres::Readers readers_;
  mutable postgres::Readers queue_readers_;  // for what is next
  postgres::Sends sends_;
};

// Times of several machines differ a little; a record is never stamped earlier than the one before
// it. A clock that is off by more stays visible.
std::string stamp(const base::Clock& clock, const std::string& last) {
  const auto now = clock.now();
  std::string time = base::to_instant(now);
  return last > time && last <= base::to_instant(now + std::chrono::seconds(60)) ? last : time;
}

Result<std::vector<Outcome>> PostgresStore::commit(std::vector<Change>& batch,
                                                   const base::Clock& clock) {
  if (auto good = body_keys::check_bodies(batch, shut_); !good) {
    return good.error();
  }
  const std::int64_t behind = behind_ms();
  const auto move_due = [&batch](std::int64_t by_ms) {
    for (Change& change : batch) {
      change.record.due_ms += change.record.due_ms > 0 ? by_ms : 0;
    }
  };
  move_due(behind);
  std::vector<Outcome> begun;
  auto done = writer_.transact(
      [&](LogWriter& log) {
        auto outcomes = log.write_all(batch, stamp(clock, log.last_time()));
        sends_.forget(begun);  // of a try before this one
        begun = outcomes ? *outcomes : std::vector<Outcome>();
        sends_.begin(begun);
        return outcomes;
      },
      [](const Result<std::vector<Outcome>>&) {});
  if (!done) {
    move_due(-behind);  // whoever tries again says it by its own clock again
  }
  done ? sends_.end(batch, *done) : sends_.forget(begun);
  if (done && std::any_of(done->begin(), done->end(), [](const Outcome& outcome) {
        return outcome.verdict == Outcome::Verdict::kWritten && destroys(outcome.record.kind);
      })) {
    vacuum_keys();
  }
  return done;
}

Result<std::size_t> PostgresStore::rewrap(std::string_view master, std::size_t limit) {
  auto done = writer_.transact(
      [&](LogWriter& log) { return body_keys::rewrap(log.connection(), *sealing_, master, limit); },
      [](const Result<std::size_t>&) {});
  if (done && *done < limit) {
    vacuum_keys();
  }
  return done;
}

// Rows that were deleted or changed stay in the table's file until somebody cleans it. While an old
// transaction may still read them this has to wait for the database's own cleaning.
void PostgresStore::vacuum_keys() {
  if (const auto connection = writer_.connection()) {
    static_cast<void>((*connection)->script("VACUUM body_key", base::limits::kDatabaseTableWait));
  }
}

// The dispatched record says which engine sends.
Result<std::vector<Leg>> PostgresStore::orphans() const {
  std::vector<Leg> out;
  // An engine that is not heard of may have lost its name: what is sent under it is another's then.
  if (!fellows_ || !fellows_->may_send()) {
    return out;
  }
  // Both before and after the look: one that ends meanwhile is none that was left.
  const postgres::Sends::All before = sends_.all();
  auto sent = in_state(LegState::kDispatched, base::limits::kJournalGroupMax);
  if (!sent) {
    return sent;
  }
  const postgres::Sends::All after = sends_.all();
  for (Leg& leg : *sent) {
    const auto sender = head(leg.changed);
    if (!sender && sender.error().code != ErrorCode::kCorrupt) {
      return sender.error();
    }
    // Who sends it is not readable any more: as if nobody was heard of since.
    const std::string engine = sender ? sender->record.actor : std::string();
    const bool own = engine == fellows_->name();
    const bool sending = postgres::Sends::holds(before, leg) || postgres::Sends::holds(after, leg);
    if (own ? !sending : fellows_->gone(engine, leg.changed)) {
      out.push_back(std::move(leg));
    }
  }
  return out;
}

Result<void> PostgresStore::agree(std::string_view name, std::string_view value) {
  const auto connection = writer_.connection();
  return connection ? queries::agree(**connection, name, value) : connection.error();
}

Result<void> PostgresStore::retract(std::string_view name) {
  const auto connection = writer_.connection();
  return connection ? queries::retract(**connection, name) : connection.error();
}

// An engine translates at once what it took in; what is found here was left by one that ended, or
// sent back by a person. Who it falls to may live and not do it: an engine that cannot write, or is
// not configured with the target.
Result<std::vector<Leg>> PostgresStore::untranslated(std::span<const std::string> targets,
                                                     std::size_t limit) const {
  const std::size_t engines = fellows_ ? fellows_->count() : 1;
  auto found = queue_readers_.ask(
      [&](Connection& c) { return queries::untranslated(c, targets, limit * engines); });
  if (!found || engines == 1) {
    return found;
  }
  const auto mine = [&](const Leg& leg) { return fellows_->mine(leg.session); };
  const Position settled = fellows_->settled();
  const Position left_undone = fellows_->left_undone();
  std::erase_if(*found, [&](const Leg& leg) {
    return mine(leg) ? leg.accepted > settled : leg.changed > left_undone;
  });
  std::stable_partition(found->begin(), found->end(), mine);
  found->resize(std::min(found->size(), limit));
  return found;
}

Result<std::vector<Leg>> PostgresStore::due(std::string_view target, std::int64_t now_ms,
                                            std::size_t limit) const {
  const std::size_t engines = fellows_ ? fellows_->count() : 1;
  const std::int64_t now = now_ms + behind_ms();
  auto found = queue_readers_.ask(
      [&](Connection& c) { return queries::due(c, target, now, limit * engines); });
  if (!found || engines == 1) {
    return found;
  }
  std::stable_partition(found->begin(), found->end(), [&](const Leg& leg) {
    return fellows_->mine(leg.patient.empty() ? leg.session : leg.patient);
  });
  const auto others = std::find_if(found->begin(), found->end(), [&](const Leg& leg) {
    return !fellows_->mine(leg.patient.empty() ? leg.session : leg.patient);
  });
  if (others != found->begin()) {
    found->erase(others, found->end());
  }
  found->resize(std::min(found->size(), limit));
  return found;
}

Result<std::vector<std::string>> PostgresStore::check_fold(std::size_t limit) const {
  auto again = sqlite::Connection::open(":memory:", {.read_only = false, .create = true});
  if (!again) {
    return again.error();
  }
  if (auto created = state::create_tables(**again); !created) {
    return created.error();
  }
  bool lost = false;
  auto out =
      readers_.ask_once([](postgres::Connection& c) { return postgres::check_tables(c); }, lost);
  if (!out) {
    return out;
  }
  auto compared = readers_.ask_once(
      [&](Connection& c) { return queries::compare_with_fold(c, **again, limit); }, lost);
  if (!compared && out->empty()) {
    return compared;
  }
  compared ? static_cast<void>(out->insert(out->end(), compared->begin(), compared->end()))
           : out->push_back("states: " + compared.error().text());
  out->resize(std::min(out->size(), limit));
  return out;
}

Result<std::string> new_writer(postgres::Connection& connection) {
  auto row = connection.run("SELECT uuid_send(gen_random_uuid())");
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  return std::string(row.blob_at(0));
}

// Which master key is in force is settled by one engine at a time.
Result<void> agree(postgres::Connection& connection, const PostgresOptions& options) {
  const bool first = options.mode == OpenMode::kEngine;
  const auto begun =
      first ? connection.finds("BEGIN; SELECT one FROM sequencer FOR UPDATE") : Result<bool>(true);
  auto done = !first   ? connection.script("BEGIN READ ONLY")
              : !begun ? begun.error()
              : *begun ? Result<void>()
                       : postgres::no_sequencer();
  if (done) {
    done = body_keys::agree(connection, options.sealing.get(), first);
  }
  const auto ended = connection.script(done ? "COMMIT" : "ROLLBACK");
  return done ? ended : done;
}

}  // namespace

Result<std::unique_ptr<Store>> open_postgres_store(const PostgresOptions& options) {
  if (auto good = postgres::check_address(options.address); !good) {
    return good.error();
  }
  const bool reads = options.mode == OpenMode::kRead;
  const auto server = reads ? postgres::Server::kAny : postgres::Server::kPrimary;
  auto connection = postgres::Connection::open(options.address, reads,
                                               base::limits::kDatabaseStatementWait, server);
  if (!connection) {
    return connection.error();
  }
  const bool create = options.mode == OpenMode::kEngine || options.mode == OpenMode::kCopy;
  auto ready = create ? postgres::create_tables(**connection) : Result<void>();
  if (ready) {
    ready = postgres::check_format(**connection);
  }
  if (ready && (options.mode == OpenMode::kEngine || options.mode == OpenMode::kCommand)) {
    ready = queries::check_copied(**connection);
  }
  if (ready && options.mode == OpenMode::kEngine) {
    ready = postgres::check_lasting(**connection);
  }
  if (ready && options.mode == OpenMode::kEngine) {
    ready = postgres::forget_the_gone(**connection);
  }
  if (ready && create) {
    ready = postgres::mark_journal(**connection);
  }
  if (!ready) {
    return ready.error();
  }
  if (options.mode == OpenMode::kEngine || options.sealing != nullptr) {
    ready = agree(**connection, options);
    if (!ready) {
      return ready.error();
    }
  }
  const auto shut = body_keys::shut(**connection, options.sealing.get());
  if (!shut) {
    return shut.error();
  }
  auto mark = postgres::mark_of(**connection);
  if (!mark) {
    return mark.error();
  }
  const postgres::Home home{options.address, server, std::move(*mark)};
  auto writer = new_writer(**connection);
  if (!writer) {
    return writer.error();
  }
  std::unique_ptr<Fellows> fellows;
  if (options.mode == OpenMode::kEngine) {
    auto joined = Fellows::join(options, home, *writer);
    if (!joined) {
      return joined.error();
    }
    fellows = std::move(*joined);
  }
  return std::unique_ptr<Store>(std::make_unique<PostgresStore>(
      home, std::move(*writer), std::move(fellows), options.sealing, *shut));
}

}  // namespace engine::journal
