#pragma once
// Bounds the guessing of passwords: of a name from one address, of a name from anywhere, and from
// one address (of IPv6: one network, base/network.h), within a window of time. In fixed memory,
// whatever names are tried: counters are shared by chance, under a hash that nobody outside can
// foresee. Not thread safe.

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/limits.h"

namespace engine::people {

class Tries {
 public:
  using Time = std::chrono::steady_clock::time_point;
  // `salt`: random bytes.
  explicit Tries(std::string salt);

  // Counts a try that begins: many begun at once are counted before any of them has ended. How long
  // to wait instead when there have been too many.
  std::optional<std::chrono::seconds> begin(std::string_view name, std::string_view from, Time now);
  // That try came with the right password, or was never made: it does not count.
  void forgive(std::string_view name, std::string_view from, Time now);

 private:
  struct Counter {
    Time since{};
    std::uint32_t count = 0;
  };
  using Counters = std::vector<Counter>;
  Counter& of(Counters& counters, std::string_view what, Time now);

  std::string salt_;
  Counters pairs_ = Counters(base::limits::kTriesCounters);
  Counters names_ = Counters(base::limits::kTriesCounters);
  Counters addresses_ = Counters(base::limits::kTriesCounters);
};

}  // namespace engine::people
