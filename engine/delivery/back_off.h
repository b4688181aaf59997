#pragma once
// Waiting times. Full jitter: uniform in [0, base * 2^tries], so that many waiting senders do not
// come back together.

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdint>

#include "engine/base/seams.h"

namespace engine::delivery {

// base * 2^tries, at most cap.
inline std::chrono::milliseconds doubled(std::chrono::milliseconds base, std::uint32_t tries,
                                         std::chrono::milliseconds cap) {
  return std::min(cap, base * (std::int64_t{1} << std::min<std::uint32_t>(tries, 20)));
}

inline std::chrono::milliseconds full_jitter(std::chrono::milliseconds most, base::Random& random) {
  std::array<std::uint8_t, 8> bytes{};
  random.fill(bytes);
  std::uint64_t number = 0;
  for (const std::uint8_t byte : bytes) {
    number = number << 8 | byte;
  }
  return std::chrono::milliseconds(
      static_cast<std::int64_t>(number % (static_cast<std::uint64_t>(most.count()) + 1)));
}

}  // namespace engine::delivery
