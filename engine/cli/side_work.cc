#include "engine/cli/side_work.h"

#include <utility>

namespace engine::cli {

SideWork::~SideWork() {
  if (thread_.joinable()) {
    thread_.join();
  }
}

void SideWork::run(Work work, Done done) {
  {
    const std::lock_guard lock(mutex_);
    if (!busy_) {
      busy_ = true;
      if (thread_.joinable()) {
        thread_.join();  // it has ended but for its last line
      }
      thread_ = std::thread([this, work = std::move(work), done = std::move(done)] {
        done(work());
        const std::lock_guard ended(mutex_);
        busy_ = false;
        idle_.notify_all();
      });
      return;
    }
  }
  done(base::Error(base::ErrorCode::kConflict,
                   "something of this kind runs already; ask again when it has ended"));
}

bool SideWork::wait(std::chrono::milliseconds time) {
  std::unique_lock lock(mutex_);
  return idle_.wait_for(lock, time, [this] { return !busy_; });
}

}  // namespace engine::cli
