#include "engine/intake/work_pool.h"

#include <condition_variable>
#include <deque>
#include <mutex>
#include <thread>
#include <utility>
#include <vector>

#include <sys/resource.h>

#include "engine/base/limits.h"

namespace engine::intake {

// One queue a thread; a key always falls to the same one.
struct WorkPool::State {
  struct Lane {
    std::mutex mutex;
    std::condition_variable changed;
    std::deque<std::function<void()>> tasks;
    bool stopping = false;
    std::thread thread;

    void work() {
      while (true) {
        std::function<void()> task;
        {
          std::unique_lock lock(mutex);
          changed.wait(lock, [this] { return stopping || !tasks.empty(); });
          if (stopping) {
            return;
          }
          task = std::move(tasks.front());
          tasks.pop_front();
        }
        task();
      }
    }
  };
  std::vector<std::unique_ptr<Lane>> lanes;
};

WorkPool::WorkPool(std::size_t threads, int niceness) : state_(std::make_unique<State>()) {
  for (std::size_t i = 0; i < threads; ++i) {
    auto lane = std::make_unique<State::Lane>();
    State::Lane* const raw = lane.get();
    lane->thread = std::thread([raw, niceness] {
      if (niceness != 0) {
        ::setpriority(PRIO_PROCESS, 0, niceness);  // of this thread alone, under Linux
      }
      raw->work();
    });
    state_->lanes.push_back(std::move(lane));
  }
}

WorkPool::~WorkPool() {
  stop();
}

bool WorkPool::run(std::string_view key, std::function<void()> task) {
  State::Lane& lane = *state_->lanes[std::hash<std::string_view>()(key) % state_->lanes.size()];
  {
    const std::lock_guard lock(lane.mutex);
    if (lane.stopping || lane.tasks.size() >= base::limits::kIntakeMax) {
      return false;
    }
    lane.tasks.push_back(std::move(task));
  }
  lane.changed.notify_one();
  return true;
}

void WorkPool::stop() {
  for (const auto& lane : state_->lanes) {
    {
      const std::lock_guard lock(lane->mutex);
      lane->stopping = true;
    }
    lane->changed.notify_one();
  }
  for (const auto& lane : state_->lanes) {
    if (lane->thread.joinable()) {
      lane->thread.join();
    }
  }
}

}  // namespace engine::intake
