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
    bool ended = false;
    std::thread thread;

    void begin_stop() {
      {
        const std::lock_guard lock(mutex);
        stopping = true;
      }
      changed.notify_all();
    }

    void work() {
      loop();
      const std::lock_guard lock(mutex);
      ended = true;
      changed.notify_all();
    }

    void loop() {
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
        run(task);
      }
    }

    // Whoever gives a task answers for what it leaves undone; here it only must not end the engine.
    static void run(const std::function<void()>& task) {
      try {
        task();
      } catch (...) {
        return;
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
  lane.changed.notify_all();
  return true;
}

void WorkPool::stop() {
  for (const auto& lane : state_->lanes) {
    lane->begin_stop();
  }
  for (const auto& lane : state_->lanes) {
    if (lane->thread.joinable()) {
      lane->thread.join();
    }
  }
}

bool WorkPool::stop_within(std::chrono::milliseconds time) {
  const auto until = std::chrono::steady_clock::now() + time;
  for (const auto& lane : state_->lanes) {
    lane->begin_stop();
  }
  bool all = true;
  for (const auto& lane : state_->lanes) {
    std::unique_lock lock(lane->mutex);
    all = lane->changed.wait_until(lock, until, [&] { return lane->ended; }) && all;
  }
  if (all) {
    stop();
  }
  return all;
}

}  // namespace engine::intake
