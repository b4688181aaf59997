#pragma once
// Receives the signals that ask a program to end (SIGTERM, SIGINT) or to look at its files
// (SIGHUP), on a thread that does nothing else: the one that they are meant for may be waiting for
// a disk.

#include <chrono>
#include <condition_variable>
#include <functional>
#include <mutex>
#include <thread>

namespace engine::cli {

class SignalWatch {
 public:
  // Before any thread begins, so that all of them leave these signals to the watch.
  static void block();
  // `on_end` runs on the watch's thread, at the first signal to end.
  explicit SignalWatch(std::function<void()> on_end);
  ~SignalWatch();
  SignalWatch(const SignalWatch&) = delete;
  SignalWatch& operator=(const SignalWatch&) = delete;

  // A signal that came since the last call, or comes within that time; 0 when none does. One to end
  // counts more than one to look, and is told again and again.
  int wait(std::chrono::milliseconds most);

 private:
  void run(const std::function<void()>& on_end);

  std::mutex mutex_;
  std::condition_variable came_;
  int end_ = 0;        // the first of these
  bool look_ = false;  // SIGHUP, not told yet
  bool left_ = false;
  std::thread thread_;
};

}  // namespace engine::cli
