#pragma once
// A few threads that run the pure core. Tasks with the same key never run at the same time.

#include <cstddef>
#include <functional>
#include <memory>
#include <string_view>

namespace engine::intake {

// The seam: simulations run the tasks on their own loop.
class Workers {
 public:
  virtual ~Workers() = default;
  // False when too much waits already; nothing was taken.
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
  // Ends the running tasks, drops the waiting ones.
  void stop();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace engine::intake
