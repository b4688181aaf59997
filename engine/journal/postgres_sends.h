#pragma once
// What this engine has on its way, by what it wrote itself. What the journal says is on its way
// from here and is not among it was left by an earlier run, whose last commit may have come in at
// any time, or by a commit whose fate this engine gave up asking after. Thread safe.

#include <cstdint>
#include <map>
#include <mutex>
#include <string>
#include <tuple>
#include <vector>

#include "engine/journal/store.h"

namespace engine::journal::postgres {

class Sends {
 public:
  using Key = std::tuple<std::string, std::uint32_t, std::string>;  // session, revision, target
  using All = std::map<Key, Position>;                              // the dispatched records

  // Before the commit, so that nobody sees a send in the journal that is not here.
  void begin(const std::vector<Outcome>& outcomes);
  // They were not written, or nobody knows.
  void forget(const std::vector<Outcome>& outcomes);
  // After the commit.
  void end(const std::vector<Change>& batch, const std::vector<Outcome>& outcomes);
  All all() const;
  static bool holds(const All& all, const Leg& leg);

 private:
  mutable std::mutex mutex_;
  All all_;
};

}  // namespace engine::journal::postgres
