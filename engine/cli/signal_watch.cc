#include "engine/cli/signal_watch.h"

#include <csignal>
#include <utility>

#include <pthread.h>

namespace engine::cli {
namespace {

sigset_t watched() {
  sigset_t set;
  sigemptyset(&set);
  sigaddset(&set, SIGTERM);
  sigaddset(&set, SIGINT);
  sigaddset(&set, SIGHUP);
  return set;
}

}  // namespace

void SignalWatch::block() {
  const sigset_t set = watched();
  pthread_sigmask(SIG_BLOCK, &set, nullptr);
}

SignalWatch::SignalWatch(std::function<void()> on_end)
    : thread_([this, on_end = std::move(on_end)] { run(on_end); }) {}

SignalWatch::~SignalWatch() {
  {
    const std::lock_guard lock(mutex_);
    left_ = true;
  }
  // To that thread alone, which is waiting for one.
  pthread_kill(thread_.native_handle(), SIGHUP);
  thread_.join();
}

void SignalWatch::run(const std::function<void()>& on_end) {
  const sigset_t set = watched();
  while (true) {
    int signal = 0;
    if (sigwait(&set, &signal) != 0) {
      continue;
    }
    bool first = false;
    {
      const std::lock_guard lock(mutex_);
      if (left_) {
        return;
      }
      first = signal != SIGHUP && end_ == 0;
      end_ = first ? signal : end_;
      look_ = look_ || signal == SIGHUP;
    }
    if (first) {
      on_end();
    }
    came_.notify_all();
  }
}

int SignalWatch::wait(std::chrono::milliseconds most) {
  std::unique_lock lock(mutex_);
  came_.wait_for(lock, most, [this] { return end_ != 0 || look_; });
  if (end_ != 0) {
    return end_;
  }
  return std::exchange(look_, false) ? SIGHUP : 0;
}

}  // namespace engine::cli
