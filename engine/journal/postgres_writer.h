#pragma once
// The connection that a store writes on. A transaction whose answer was lost with the connection is
// asked after by the number of its batch before it is tried again, so that nothing is written
// twice.

#include <algorithm>
#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <thread>
#include <utility>

#include "engine/base/limits.h"
#include "engine/base/result.h"
#include "engine/journal/log_writer.h"
#include "engine/journal/postgres.h"
#include "engine/journal/postgres_home.h"

namespace engine::journal::postgres {

inline constexpr std::chrono::milliseconds kDoubtPause{200};

// Of a transaction that found no row to lock.
base::Error no_sequencer();

class Writer {
 public:
  // `id`: another one for each writer. `connected` hears the number of each new backend. `sealing`:
  // what bodies are sealed with; null: they are not.
  Writer(Home home, std::string id, std::function<void(int)> connected, const Sealing* sealing)
      : home_(std::move(home)),
        id_(std::move(id)),
        connected_(std::move(connected)),
        sealing_(sealing) {}

  // Runs `work` with a LogWriter, in one transaction; it may run again when the first was lost.
  // Durable on return. `unknown` hears what was done by a transaction whose fate could not be found
  // out within limits::kDatabaseDoubtWait. Errors: kIo, and those of `work`.
  template <class Work, class Unknown>
  auto transact(const Work& work, const Unknown& unknown)
      -> decltype(work(std::declval<LogWriter&>()));

  // A living one. Errors: kIo.
  base::Result<Connection*> connection();

 private:
  // How a try to commit ended.
  enum class End {
    kSettled,  // written or not, and it is known which
    kLost,     // the connection went before the commit: nothing was written
    kDoubt,    // it went during the commit
  };
  template <class Work, class Done>
  Done try_once(const Work& work, std::optional<Done>& doubted, End& end);
  base::Error failed(base::Error error, End& end);
  base::Result<void> begin();
  base::Result<bool> has_batch();
  base::Result<void> note_batch();
  base::Result<void> commit();

  const Home home_;
  const std::string id_;
  const std::function<void(int)> connected_;
  const Sealing* const sealing_;
  std::int64_t batch_ = 0;
  std::unique_ptr<Connection> connection_;
};

template <class Work, class Done>
Done Writer::try_once(const Work& work, std::optional<Done>& doubted, End& end) {
  if (auto begun = begin(); !begun) {
    return failed(begun.error(), end);
  }
  if (doubted) {
    const auto there = has_batch();
    if (!there) {
      return failed(there.error(), end);
    }
    if (*there) {
      // It is here, but a synchronous standby need not have it yet: whoever waited for that went
      // with the connection. A commit behind it is acknowledged only when the standby has both.
      const auto noted = note_batch();
      const auto committed = noted ? commit() : noted.error();
      if (!committed) {
        return failed(committed.error(), end);
      }
      end = End::kSettled;
      return std::move(*doubted);
    }
    doubted.reset();
  }
  LogWriter log(*connection_, sealing_);
  if (auto begun = log.begin(); !begun) {
    return failed(begun.error(), end);
  }
  Done done = work(log);
  if (!done) {
    return failed(done.error(), end);
  }
  if (auto noted = note_batch(); !noted) {
    return failed(noted.error(), end);
  }
  if (auto committed = commit(); !committed) {
    base::Error error = failed(committed.error(), end);
    if (end == End::kLost) {
      end = End::kDoubt;
      doubted = std::move(done);
    }
    return error;
  }
  end = End::kSettled;
  return done;
}

template <class Work, class Unknown>
auto Writer::transact(const Work& work, const Unknown& unknown)
    -> decltype(work(std::declval<LogWriter&>())) {
  using Done = decltype(work(std::declval<LogWriter&>()));
  ++batch_;
  std::optional<Done> doubted;
  auto until = std::chrono::steady_clock::time_point::max();  // of the doubt, once there is one
  for (int tries = 1;; ++tries) {
    End end = End::kSettled;
    Done done = try_once(work, doubted, end);
    const auto now = std::chrono::steady_clock::now();
    until = doubted ? std::min(until, now + base::limits::kDatabaseDoubtWait)
                    : std::chrono::steady_clock::time_point::max();
    if (end == End::kSettled && (done || !doubted)) {
      return done;
    }
    // Nothing was written, and the connection may merely have been an old one: once more.
    if (!doubted && tries > 1) {
      return done;
    }
    if (doubted && now >= until) {
      unknown(*doubted);
      return base::Error(
          base::ErrorCode::kIo,
          "the connection to the journal's database was lost during a commit, and the database "
          "cannot be asked what became of it; it may or may not be written");
    }
    connection_.reset();
    if (tries > 1) {
      std::this_thread::sleep_for(kDoubtPause);
    }
  }
}

}  // namespace engine::journal::postgres
