#pragma once
// At most so many requests a second: spaced evenly, with a tenth of a second's worth at once where
// that is more than one, so that timers of a millisecond keep up with fast paces. In any span of T
// seconds there are at most N*T + max(1, N/10) requests.

#include <algorithm>
#include <chrono>
#include <cstdint>

namespace engine::delivery {

class Pace {
 public:
  using Time = std::chrono::steady_clock::time_point;

  // 0: no limit.
  explicit Pace(double per_second) {
    if (per_second > 0) {
      space_ = std::chrono::nanoseconds(static_cast<std::int64_t>(1e9 / per_second));
      ahead_ = std::max(std::chrono::nanoseconds(0), kAtOnce - space_);
    }
  }

  // How long until another may go, rounded up; 0: now.
  std::chrono::milliseconds wait(Time now) const {
    return std::max(std::chrono::milliseconds(0),
                    std::chrono::ceil<std::chrono::milliseconds>(next_ - ahead_ - now));
  }
  // One goes now, whether it had to wait or not.
  void spend(Time now) { next_ = std::max(next_, now) + space_; }

 private:
  static constexpr std::chrono::nanoseconds kAtOnce{100'000'000};
  std::chrono::nanoseconds space_{0};
  std::chrono::nanoseconds ahead_{0};
  Time next_{};
};

}  // namespace engine::delivery
