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
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>
#include <thread>
#include <utility>

#include "engine/journal/postgres.h"
#include "engine/journal/store.h"

namespace engine::journal::postgres {

class Fellows {
 public:
  // Takes the name and begins to listen. Errors: kConflict when an engine of this name runs, kIo.
  static base::Result<std::unique_ptr<Fellows>> join(const std::string& address, std::string name);
  // Says that it goes.
  ~Fellows();
  Fellows(const Fellows&) = delete;
  Fellows& operator=(const Fellows&) = delete;

  const std::string& name() const { return name_; }
  // What was written before this engine began.
  Position joined_at() const { return joined_at_; }
  void on_news(std::function<void()> told);
  // Backend that writes for this engine: its news are known.
  void own_writer(int backend) { own_writer_ = backend; }

  // Engines that were heard of lately, this one among them.
  std::size_t count() const;
  // Whether what is called so is this engine's part of the work. Everything is when it is alone.
  bool mine(std::string_view key) const;
  // Whether the engine that wrote the dispatched record at `sent` has been silent for so long that
  // what it had on its way has ended. False while this engine cannot tell.
  bool gone(const std::string& engine, Position sent) const;
  // The log's end limits::kTranslateLease ago.
  Position settled() const;

 private:
  using Time = std::chrono::steady_clock::time_point;
  Fellows(std::string address, std::string name)
      : address_(std::move(address)), name_(std::move(name)) {}
  base::Result<void> connect();
  base::Result<bool> take_name();
  base::Result<void> beat();
  void run();
  // Waits for news or the time; true when another engine wrote.
  bool listen(Time until);

  const std::string address_;
  const std::string name_;
  std::unique_ptr<Connection> connection_;  // of the thread, once it runs
  bool named_ = false;                      // the connection holds the name
  Position joined_at_ = 0;
  std::atomic<int> own_writer_{0};
  int wake_ = -1;  // an eventfd: written to when it is to end
  std::atomic<bool> stopping_{false};

  mutable std::mutex mutex_;
  std::function<void()> told_;
  std::map<std::string, std::chrono::milliseconds> silence_;  // as of the last beat
  Time last_beat_{};
  std::deque<std::pair<Time, Position>> ends_;
  std::thread thread_;
};

}  // namespace engine::journal::postgres
