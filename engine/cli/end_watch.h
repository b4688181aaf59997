#pragma once
// Does something when what it watches has not ended in time.

#include <chrono>
#include <condition_variable>
#include <functional>
#include <mutex>
#include <thread>

namespace engine::cli {

class EndWatch {
 public:
  // `late` runs on a thread of its own, unless the watch ends before that time is over.
  EndWatch(std::chrono::milliseconds time, std::function<void()> late);
  ~EndWatch();
  EndWatch(const EndWatch&) = delete;
  EndWatch& operator=(const EndWatch&) = delete;

 private:
  std::mutex mutex_;
  std::condition_variable changed_;
  bool ended_ = false;
  std::thread thread_;
};

}  // namespace engine::cli
