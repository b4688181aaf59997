#include "engine/journal/postgres_fellows.h"

#include <algorithm>
#include <array>
#include <cstdlib>

#include <libpq-fe.h>
#include <poll.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include "engine/base/hash.h"
#include "engine/base/limits.h"
#include "engine/journal/body_keys.h"
#include "engine/journal/queries.h"

namespace engine::journal::postgres {

using base::Error;
using base::ErrorCode;
using base::Result;
using std::chrono::milliseconds;
using std::chrono::steady_clock;

namespace {

// How long the name of an engine that was killed may still be held by its connection.
constexpr std::chrono::seconds kNameWait{5};

// What clocks that are in order differ by at most, and answers of the database take.
constexpr milliseconds kClocksDiffer{10'000};

// The same on every machine.
std::uint64_t hash_of(std::string_view key) {
  const base::Digest digest = base::sha256(key);
  std::uint64_t out = 0;
  for (std::size_t i = 0; i < 8; ++i) {
    out = out << 8 | digest[i];
  }
  return out;
}

}  // namespace

Result<std::unique_ptr<Fellows>> Fellows::join(const PostgresOptions& options, Home home,
                                               std::string instance) {
  std::unique_ptr<Fellows> out(new Fellows(options, std::move(home), std::move(instance)));
  out->wake_ = ::eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
  if (out->wake_ < 0) {
    return Error(ErrorCode::kIo, "the engine cannot make what wakes its listener");
  }
  const auto until = steady_clock::now() + kNameWait;
  auto joined = out->claim();
  while (!joined && joined.error().code == ErrorCode::kConflict && steady_clock::now() < until) {
    std::this_thread::sleep_for(milliseconds(100));
    joined = out->claim();
  }
  if (joined) {
    joined = out->beat();
  }
  if (!joined) {
    return joined.error();
  }
  out->joined_at_ = out->ends_.back().second;
  Fellows* const self = out.get();
  out->thread_ = std::thread([self] { self->run(); });
  return out;
}

Fellows::~Fellows() {
  stopping_ = true;
  if (thread_.joinable()) {
    const std::uint64_t one = 1;
    static_cast<void>(!::write(wake_, &one, sizeof one));
    thread_.join();
    if (connection_ != nullptr) {
      // The others need not wait to share its work out. What it left on its way they take only when
      // the lease is over.
      static_cast<void>(
          connection_
              ->run("UPDATE engine SET seen = least(seen, clock_timestamp() - interval '6 "
                    "seconds') WHERE name = ? AND instance = ?")
              .text(name_)
              .blob(instance_)
              .finish());
    }
  }
  if (wake_ >= 0) {
    ::close(wake_);
  }
}

void Fellows::on_news(std::function<void()> told) {
  const std::lock_guard lock(mutex_);
  told_ = std::move(told);
}

// What it says here may be lost with the database, unlike what the journal says, and waits for no
// standby.
Result<void> Fellows::connect() {
  if (connection_ != nullptr && !connection_->lost()) {
    return {};
  }
  auto opened = postgres::connect(home_, false, base::limits::kEngineBeatWait);
  if (!opened) {
    return opened.error();
  }
  connection_ = std::move(*opened);
  named_ = false;
  return connection_->script("SET synchronous_commit = off; LISTEN chartferry_journal");
}

// The name, when nobody has it.
Result<void> Fellows::claim() {
  if (auto connected = connect(); !connected) {
    return connected;
  }
  const auto taken = take_name();
  if (!taken) {
    return taken.error();
  }
  named_ = *taken;
  if (!named_) {
    return Error(ErrorCode::kConflict,
                 "an engine named '" + name_ +
                     "' runs on this journal already; give each a name of its own (name = "
                     "\"NAME\", --name NAME)");
  }
  auto before = holder();
  if (!before) {
    return before.error();
  }
  predecessor_ = std::move(*before);
  return connection_
      ->run(
          "INSERT INTO engine VALUES(?1, clock_timestamp(), ?2) ON CONFLICT (name) DO UPDATE SET "
          "seen = clock_timestamp(), instance = ?2")
      .text(name_)
      .blob(instance_)
      .finish();
}

// The instance that the name belongs to by the table; "" when that says none.
Result<std::string> Fellows::holder() {
  auto row = connection_->run("SELECT instance FROM engine WHERE name = ?");
  const auto stepped = row.text(name_).step();
  if (!stepped) {
    return stepped.error();
  }
  return *stepped && !row.null_at(0) ? std::string(row.blob_at(0)) : std::string();
}

// Held as long as the connection lives; the database frees it when the engine dies. A database may
// hold several journals, in schemas of their own, and its locks are common to all.
Result<bool> Fellows::take_name() {
  auto row = connection_->run(
      "SELECT pg_try_advisory_lock(CAST(CAST(to_regclass('engine') AS oid) AS BIGINT) # ?)");
  row.number(static_cast<std::int64_t>(hash_of("chartferry engine " + name_)));
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  return row.number_at(0) == 1;
}

// False when the name is another instance's by now. A connection that broke may hold the name for a
// while yet, as far as the database knows; the row says all the same whose it is.
Result<bool> Fellows::say_alive() {
  if (name_lost_) {
    return false;
  }
  if (!named_) {
    const auto taken = take_name();
    if (!taken) {
      return taken;
    }
    named_ = *taken;
  }
  auto row = connection_->run(
      "INSERT INTO engine VALUES(?1, clock_timestamp(), ?2) ON CONFLICT (name) DO UPDATE SET seen "
      "= clock_timestamp() WHERE engine.instance = ?2 RETURNING 1");
  const auto said = row.text(name_).blob(instance_).step();
  if (!said || *said) {
    return said;
  }
  // A database that took over from another may not have heard of this instance yet.
  const auto of = holder();
  if (!of) {
    return of.error();
  }
  if (!named_ || *of != predecessor_) {
    // Whoever begins under the name after that one has to find it free.
    const auto freed = connection_->script("SELECT pg_advisory_unlock_all()");
    named_ = false;
    return freed ? Result<bool>(false) : freed.error();
  }
  const auto claimed = claim();
  return claimed ? Result<bool>(true) : claimed.error();
}

Result<void> Fellows::beat() {
  const Time before = steady_clock::now();  // the others may hear of it from here on
  const auto said = say_alive();
  if (!said) {
    return said.error();
  }
  // Before the engines: whoever dispatched what is in the log by now is among them.
  const auto end = queries::size(*connection_);
  const Time looked = steady_clock::now();
  std::vector<Roll::Row> rows;
  auto row = connection_->run(
      "SELECT name, CAST(extract(epoch FROM seen) * 1000000 AS BIGINT), CAST(extract(epoch FROM "
      "clock_timestamp() - seen) * 1000 AS BIGINT), CAST(extract(epoch FROM clock_timestamp()) * "
      "1000 AS BIGINT) FROM engine");
  auto stepped = row.step();
  const auto own = std::chrono::duration_cast<milliseconds>(
      (begun_civil_ + (steady_clock::now() - begun_)).time_since_epoch());
  const std::int64_t behind = stepped && *stepped ? row.number_at(3) - own.count() : 0;
  for (; stepped && *stepped; stepped = row.step()) {
    rows.push_back({std::string(row.text_at(0)), row.number_at(1), milliseconds(row.number_at(2))});
  }
  if (!stepped || !end) {
    return stepped ? end.error() : stepped.error();
  }
  auto master = body_keys::master(*connection_);
  if (!master) {
    return master.error();
  }
  const bool known =
      master->empty() || (sealing_ != nullptr && sealing_->masters.find(*master) != nullptr);
  const std::lock_guard lock(mutex_);
  name_lost_ = name_lost_ || !*said;
  unknown_key_ = known ? std::string() : std::move(*master);
  roll_.look(looked, rows);
  last_beat_ = before;
  behind_ms_ = std::abs(behind) > kClocksDiffer.count() ? behind : 0;
  ends_.emplace_back(looked, *end);
  while (ends_.size() > 1 && ends_[1].first + 2 * translate_lease_ <= looked) {
    ends_.pop_front();
  }
  return {};
}

// True when it may have missed news.
bool Fellows::beat_again() {
  const bool deaf = connection_ == nullptr || connection_->lost();
  auto done = connect();
  if (done) {
    done = beat();
  }
  if (!done) {
    connection_.reset();  // a database that is away is asked again at the next beat
  }
  const std::lock_guard lock(mutex_);
  trouble_ = done ? "" : done.error().text();
  return deaf && done;
}

bool Fellows::listen(Time until) {
  // News that came with the answers of the last beat are here already.
  if (heard()) {
    return true;
  }
  const auto left = std::chrono::ceil<milliseconds>(until - steady_clock::now());
  std::array<pollfd, 2> files = {
      {{wake_, POLLIN, 0},
       {connection_ != nullptr ? PQsocket(connection_->handle()) : -1, POLLIN, 0}}};
  ::poll(files.data(), files.size(), static_cast<int>(std::max<std::int64_t>(left.count(), 0)));
  if (connection_ == nullptr || files[1].revents == 0) {
    return false;
  }
  if (PQconsumeInput(connection_->handle()) == 0) {
    connection_.reset();
    return false;
  }
  return heard();
}

bool Fellows::heard() {
  bool news = false;
  while (PGnotify* const one =
             connection_ != nullptr ? PQnotifies(connection_->handle()) : nullptr) {
    news = news || one->be_pid != own_writer_;
    PQfreemem(one);
  }
  return news;
}

void Fellows::run() {
  auto next = steady_clock::now() + base::limits::kEngineBeat;
  while (!stopping_) {
    bool news = listen(next);
    if (steady_clock::now() >= next) {
      next = steady_clock::now() + base::limits::kEngineBeat;
      news = beat_again() || news;
    }
    if (news) {
      std::function<void()> told;
      {
        const std::lock_guard lock(mutex_);
        told = told_;
      }
      if (told) {
        told();
      }
      std::this_thread::sleep_for(base::limits::kNewsPause);
    }
  }
}

std::size_t Fellows::count() const {
  const std::lock_guard lock(mutex_);
  return std::max<std::size_t>(1, roll_.living().size());
}

bool Fellows::mine(std::string_view key) const {
  const std::lock_guard lock(mutex_);
  const std::vector<std::string_view> living = roll_.living();
  const auto own = std::find(living.begin(), living.end(), name_);
  const auto rank = own == living.end() ? 0 : static_cast<std::uint64_t>(own - living.begin());
  return living.size() < 2 || hash_of(key) % living.size() == rank;
}

bool Fellows::may_send() const {
  const std::lock_guard lock(mutex_);
  return !name_lost_ && unknown_key_.empty() && steady_clock::now() - last_beat_ < send_lease_;
}

std::int64_t Fellows::behind_ms() const {
  const std::lock_guard lock(mutex_);
  return behind_ms_;
}

std::string Fellows::unheard() const {
  const std::lock_guard lock(mutex_);
  if (name_lost_) {
    return "another engine of the name '" + name_ +
           "' has begun since; this one sends nothing more until it is started again";
  }
  return unknown_key_.empty() ? trouble_
                              : "bodies are sealed under the master key " + unknown_key_ +
                                    ", which this engine was not given; it sends nothing until it "
                                    "is started with it";
}

bool Fellows::gone(const std::string& engine, Position sent) const {
  const std::lock_guard lock(mutex_);
  return roll_.current(steady_clock::now()) && sent <= ends_.back().second && roll_.gone(engine);
}

std::optional<Position> Fellows::end_before(milliseconds time) const {
  std::optional<Position> out;
  for (const auto& [looked, end] : ends_) {
    out = looked + time <= steady_clock::now() ? std::optional(end) : out;
  }
  return out;
}

Position Fellows::settled() const {
  const std::lock_guard lock(mutex_);
  return end_before(translate_lease_).value_or(joined_at_);
}

Position Fellows::left_undone() const {
  const std::lock_guard lock(mutex_);
  return end_before(2 * translate_lease_).value_or(0);
}

}  // namespace engine::journal::postgres
