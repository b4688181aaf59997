#pragma once
// A few threads that run the pure core. Tasks with the same key never run at the same time.

#include <chrono>
#include <cstddef>
#include <functional>
#include <memory>
#include <string_view>

namespace engine::intake {

// The seam: simulations run the tasks on their own loop.
class Workers {
 public:
  virtual ~Workers() = default;
  // False when too much waits already; nothing was taken. A task that throws is over, and the next
  // one runs.
  virtual bool run(std::string_view key, std::function<void()> task) = 0;
};

class WorkPool final : public Workers {
 public:
  // `niceness`: by how much its threads stand back behind those that somebody waits for, as
  // nice(1).
  explicit WorkPool(std::size_t threads, int niceness = 0);
  ~WorkPool() override;  // stop()
  WorkPool(const WorkPool&) = delete;
  WorkPool& operator=(const WorkPool&) = delete;
  bool run(std::string_view key, std::function<void()> task) override;
  // Waits for the running tasks, drops the waiting ones.
  void stop();
  // The same for so long at most: false when a task still runs. It goes on, so that the pool and
  // what its tasks use must outlive it, or the process end.
  bool stop_within(std::chrono::milliseconds time);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace engine::intake
