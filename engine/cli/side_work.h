#pragma once
// One piece of work at a time beside everything else that an engine does: what waits for another
// machine, or reads the whole journal.

#include <chrono>
#include <condition_variable>
#include <functional>
#include <mutex>
#include <string>
#include <thread>

#include "engine/base/result.h"

namespace engine::cli {

class SideWork {
 public:
  using Work = std::function<base::Result<std::string>()>;
  using Done = std::function<void(base::Result<std::string>)>;
  SideWork() = default;
  SideWork(const SideWork&) = delete;
  SideWork& operator=(const SideWork&) = delete;
  // Waits for what runs.
  ~SideWork();
  // From any thread. `work` and then `done` run on a thread of their own. Errors: kConflict when
  // something runs, those of `work`.
  void run(Work work, Done done);
  // Whether nothing runs any more after that time at most.
  bool wait(std::chrono::milliseconds time);

 private:
  std::mutex mutex_;
  std::condition_variable idle_;
  bool busy_ = false;
  std::thread thread_;
};

}  // namespace engine::cli
