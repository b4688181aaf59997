#pragma once
// Which of the engines that share a journal live, as one of them observes it. Each says again and
// again that it lives, by changing its row. Nothing here believes the database's clock, which may
// be set, nor what was said while nobody looked: an engine is gone when its row has not changed for
// as long as this one has been looking without interruption. Pure: the caller tells the time.

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/limits.h"

namespace engine::journal::postgres {

class Roll {
 public:
  using Time = std::chrono::steady_clock::time_point;
  struct Row {
    std::string name;
    std::int64_t seen = 0;  // any other value with each beat
    // By the database's clock; decides only who counts when work is shared out.
    std::chrono::milliseconds silence{0};
  };
  // `lease`: after how long an engine is gone.
  explicit Roll(std::chrono::milliseconds lease = base::limits::kEngineLease) : lease_(lease) {}

  // All rows, as they were at `now`.
  void look(Time now, const std::vector<Row>& rows);
  // Whether the last look was lately enough for what follows to mean something.
  bool current(Time now) const;
  // Names of those that were heard of lately, as of the last look, in an order that is the same for
  // all.
  std::vector<std::string_view> living() const;
  // As of the last look; also of one that has no row.
  bool gone(const std::string& name) const;

 private:
  struct Engine {
    std::int64_t seen = 0;
    Time since;          // when this one saw it change, or began to look
    bool fresh = false;  // had just been written then
  };
  const std::chrono::milliseconds lease_;
  bool looked_ = false;
  Time began_;  // of looking without interruption
  Time last_;
  std::map<std::string, Engine> engines_;
};

}  // namespace engine::journal::postgres
