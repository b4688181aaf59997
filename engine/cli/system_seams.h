#pragma once
// The real clock and the real randomness, for the commands that hand them out.

#include <chrono>
#include <span>

#include <sys/random.h>

#include "engine/base/check.h"
#include "engine/base/seams.h"

namespace engine::cli {

class SystemClock final : public base::Clock {
 public:
  std::chrono::system_clock::time_point now() const override {
    return std::chrono::system_clock::now();
  }
  std::chrono::steady_clock::time_point steady() const override {
    return std::chrono::steady_clock::now();
  }
};

class SystemRandom final : public base::Random {
 public:
  void fill(std::span<std::uint8_t> bytes) override {
    // Up to 256 bytes come whole once the system has started (getrandom(2)).
    ENGINE_CHECK(bytes.size() <= 256);
    ENGINE_CHECK(::getrandom(bytes.data(), bytes.size(), 0) == static_cast<ssize_t>(bytes.size()));
  }
};

}  // namespace engine::cli
