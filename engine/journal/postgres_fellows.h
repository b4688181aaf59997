#pragma once
// The engines that share a journal: each says again and again that it lives, hears what the others
// write, and works out which part of the common work is its own. Shares only keep engines out of
// each other's way; what keeps two from doing the same thing is the condition under which each
// change is written.

#include <atomic>
#include <chrono>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <utility>

#include "engine/journal/postgres.h"
#include "engine/journal/postgres_home.h"
#include "engine/journal/postgres_roll.h"
#include "engine/journal/postgres_store.h"
#include "engine/journal/store.h"

namespace engine::journal::postgres {

class Fellows {
 public:
  // Takes the name and begins to listen. `instance`: another one for each run of an engine. Errors:
  // kConflict when an engine of this name runs, kIo.
  static base::Result<std::unique_ptr<Fellows>> join(const PostgresOptions& options, Home home,
                                                     std::string instance);
  // Says that it goes.
  ~Fellows();
  Fellows(const Fellows&) = delete;
  Fellows& operator=(const Fellows&) = delete;

  const std::string& name() const { return name_; }
  void on_news(std::function<void()> told);
  // Backend that writes for this engine: its news are known.
  void own_writer(int backend) { own_writer_ = backend; }

  // Engines that were heard of lately, this one among them.
  std::size_t count() const;
  // Whether what is called so is this engine's part of the work. Everything is when it is alone.
  bool mine(std::string_view key) const;
  // Whether the others know, and will for as long as a request may take, that this engine lives,
  // and it was given the master key that bodies are sealed under.
  bool may_send() const;
  // How far this engine's clock is behind the database's, when by more than clocks of machines in
  // order differ; otherwise 0.
  std::int64_t behind_ms() const;
  // Why it may not send, or they do not hear of it just now; "" when all is well.
  std::string unheard() const;
  // Whether the engine that wrote the dispatched record at `sent` has been silent for so long that
  // what it had on its way has ended. False while this engine cannot tell.
  bool gone(const std::string& engine, Position sent) const;
  // What was accepted until then, its engine had limits::kTranslateLease for.
  Position settled() const;
  // What nothing was written about since then, whoever it falls to had twice that for.
  Position left_undone() const;

 private:
  using Time = std::chrono::steady_clock::time_point;
  Fellows(const PostgresOptions& options, Home home, std::string instance)
      : home_(std::move(home)),
        name_(options.engine),
        instance_(std::move(instance)),
        send_lease_(options.leases.send),
        translate_lease_(options.leases.translate),
        sealing_(options.sealing),
        begun_(std::chrono::steady_clock::now()),
        begun_civil_(options.clock != nullptr ? options.clock->now()
                                              : std::chrono::system_clock::now()),
        roll_(options.leases.silence) {}
  base::Result<void> connect();
  base::Result<bool> take_name();
  base::Result<void> claim();
  base::Result<std::string> holder();
  base::Result<bool> say_alive();
  base::Result<void> beat();
  bool beat_again();
  void run();
  // Waits for news or the time; true when another engine wrote.
  bool listen(Time until);
  bool heard();
  // The log's end so long ago; nullopt when this engine has not been looking for so long. With the
  // mutex held.
  std::optional<Position> end_before(std::chrono::milliseconds time) const;

  const Home home_;
  const std::string name_;
  const std::string instance_;
  const std::chrono::milliseconds send_lease_;
  const std::chrono::milliseconds translate_lease_;
  const std::shared_ptr<const Sealing> sealing_;
  // This engine's time is what it was when it began and what its steady clock counted since.
  const Time begun_;
  const std::chrono::system_clock::time_point begun_civil_;
  std::unique_ptr<Connection> connection_;  // of the thread, once it runs
  bool named_ = false;                      // the connection holds the name
  std::string predecessor_;                 // the instance that had the name before
  Position joined_at_ = 0;                  // what was written before this engine began
  std::atomic<int> own_writer_{0};
  int wake_ = -1;  // an eventfd: written to when it is to end
  std::atomic<bool> stopping_{false};

  mutable std::mutex mutex_;
  std::function<void()> told_;
  Roll roll_;
  Time last_beat_{};
  std::int64_t behind_ms_ = 0;
  bool name_lost_ = false;   // to an engine that began since; for good
  std::string trouble_;      // with the last beat
  std::string unknown_key_;  // the master key in force, when this engine was not given it
  std::deque<std::pair<Time, Position>> ends_;
  std::thread thread_;
};

}  // namespace engine::journal::postgres
