#pragma once
// The seams between the engine and the world: clock, randomness, files. The core never sees them;
// the shell is handed one of each, and tests hand it a simulated twin.

#include <chrono>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"

namespace engine::base {

class Clock {
 public:
  virtual ~Clock() = default;
  // Civil time, for stamps that are journalled. May step when the machine's clock is set.
  virtual std::chrono::system_clock::time_point now() const = 0;
  // For durations and deadlines; never steps back.
  virtual std::chrono::steady_clock::time_point steady() const = 0;
};

class Random {
 public:
  virtual ~Random() = default;
  virtual void fill(std::span<std::uint8_t> bytes) = 0;
};

// A named text handed to the core: a map, a compiled table, a code list.
struct SourceFile {
  std::string name;  // relative to its root, '/' as separator
  std::string bytes;
};

// The same, borrowed: texts embedded in the program.
struct SourceView {
  std::string_view name;
  std::string_view bytes;
};

// FHIR instant in UTC with milliseconds, "2026-03-02T08:10:00.000Z".
std::string to_instant(std::chrono::system_clock::time_point time);

}  // namespace engine::base
