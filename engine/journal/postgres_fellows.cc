#include "engine/journal/postgres_fellows.h"

#include <algorithm>
#include <array>

#include <libpq-fe.h>
#include <poll.h>
#include <sys/eventfd.h>
#include <unistd.h>

#include "engine/base/hash.h"
#include "engine/base/limits.h"
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

Result<std::unique_ptr<Fellows>> Fellows::join(const std::string& address, std::string name) {
  std::unique_ptr<Fellows> out(new Fellows(address, std::move(name)));
  out->wake_ = ::eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
  if (out->wake_ < 0) {
    return Error(ErrorCode::kIo, "the engine cannot make what wakes its listener");
  }
  const auto until = steady_clock::now() + kNameWait;
  auto joined = out->connect();
  while (!joined && joined.error().code == ErrorCode::kConflict && steady_clock::now() < until) {
    std::this_thread::sleep_for(milliseconds(100));
    joined = out->connect();
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
                    "seconds') WHERE name = ?")
              .text(name_)
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

Result<void> Fellows::connect() {
  if (connection_ == nullptr || connection_->lost()) {
    auto opened = Connection::open(address_, false);
    if (!opened) {
      return opened.error();
    }
    connection_ = std::move(*opened);
    named_ = false;
    if (auto listening = connection_->script("LISTEN chartferry_journal"); !listening) {
      return listening;
    }
  }
  const auto taken = named_ ? Result<bool>(true) : take_name();
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
  return {};
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

Result<void> Fellows::beat() {
  auto done = connection_
                  ->run(
                      "INSERT INTO engine VALUES(?, clock_timestamp()) ON CONFLICT (name) DO "
                      "UPDATE SET seen = clock_timestamp()")
                  .text(name_)
                  .finish();
  if (!done) {
    return done;
  }
  // Before the engines: whoever dispatched what is in the log by now is among them.
  const auto end = queries::size(*connection_);
  std::map<std::string, milliseconds> silence;
  auto row = connection_->run(
      "SELECT name, CAST(extract(epoch FROM clock_timestamp() - seen) * 1000 AS BIGINT) FROM "
      "engine");
  auto stepped = row.step();
  for (; stepped && *stepped; stepped = row.step()) {
    silence[std::string(row.text_at(0))] = milliseconds(row.number_at(1));
  }
  if (!stepped || !end) {
    return stepped ? end.error() : stepped.error();
  }
  const std::lock_guard lock(mutex_);
  silence_ = std::move(silence);
  last_beat_ = steady_clock::now();
  ends_.emplace_back(last_beat_, *end);
  while (ends_.size() > 1 && ends_[1].first + base::limits::kTranslateLease <= last_beat_) {
    ends_.pop_front();
  }
  return {};
}

bool Fellows::listen(Time until) {
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
  bool news = false;
  while (PGnotify* const one = PQnotifies(connection_->handle())) {
    news = news || one->be_pid != own_writer_;
    PQfreemem(one);
  }
  return news;
}

void Fellows::run() {
  auto next = steady_clock::now() + base::limits::kEngineBeat;
  while (!stopping_) {
    if (listen(next)) {
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
    if (steady_clock::now() >= next) {
      next = steady_clock::now() + base::limits::kEngineBeat;
      // A database that is away is asked again at the next beat.
      if (auto joined = connect(); !joined || !beat()) {
        connection_.reset();
      }
    }
  }
}

std::size_t Fellows::count() const {
  const std::lock_guard lock(mutex_);
  return static_cast<std::size_t>(std::max<std::ptrdiff_t>(
      1, std::count_if(silence_.begin(), silence_.end(),
                       [](const auto& one) { return one.second < base::limits::kEngineSilence; })));
}

bool Fellows::mine(std::string_view key) const {
  const std::lock_guard lock(mutex_);
  std::uint64_t engines = 0;
  std::uint64_t rank = 0;
  for (const auto& [name, silence] : silence_) {
    if (silence < base::limits::kEngineSilence) {
      rank = name == name_ ? engines : rank;
      ++engines;
    }
  }
  return engines < 2 || hash_of(key) % engines == rank;
}

bool Fellows::gone(const std::string& engine, Position sent) const {
  const std::lock_guard lock(mutex_);
  if (last_beat_ + base::limits::kEngineSilence < steady_clock::now()) {
    return false;
  }
  const auto found = silence_.find(engine);
  return found == silence_.end() ? sent <= ends_.back().second
                                 : found->second > base::limits::kEngineLease;
}

Position Fellows::settled() const {
  const std::lock_guard lock(mutex_);
  const bool old = ends_.front().first + base::limits::kTranslateLease <= steady_clock::now();
  return old ? ends_.front().second : joined_at_;
}

}  // namespace engine::journal::postgres
