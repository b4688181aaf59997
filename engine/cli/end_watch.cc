#include "engine/cli/end_watch.h"

#include <utility>

namespace engine::cli {

EndWatch::EndWatch(std::chrono::milliseconds time, std::function<void()> late) {
  thread_ = std::thread([this, time, late = std::move(late)] {
    std::unique_lock lock(mutex_);
    if (!changed_.wait_for(lock, time, [this] { return ended_; })) {
      lock.unlock();
      late();
    }
  });
}

EndWatch::~EndWatch() {
  {
    const std::lock_guard lock(mutex_);
    ended_ = true;
  }
  changed_.notify_one();
  thread_.join();
}

}  // namespace engine::cli
