#pragma once
// Which targets a person has paused. The journal is the only place where that is kept: the last
// paused or resumed record of a target decides, by whichever process it was written. Thread safe.

#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/log_marks.h"
#include "engine/journal/store.h"

namespace engine::delivery {

struct PauseWish {
  std::string target;
  bool pause = true;  // false: resume
  std::string actor;
  std::string why;
};

class Pauses {
 public:
  // Reads what was written since the last call; the first one reads all, and so does one that finds
  // that the journal lost what was read or noted. One thread calls it. Errors: of the store.
  base::Result<void> follow(const journal::Store& store);
  // The next call of follow() reads all: what was read may not be in the journal any more.
  void read_again();
  // One record that was just written.
  void note(const journal::Record& record);
  // The record that paused it; nullopt while it goes on.
  std::optional<journal::Record> paused(std::string_view target) const;

 private:
  using Last = std::map<std::string, journal::Record, std::less<>>;
  static void put(Last& last, const journal::Record& record);
  base::Result<bool> is_same(const journal::Store& store);

  journal::LogMarks marks_;  // of what is read; of the one thread that follows

  mutable std::mutex mutex_;  // of what follows
  Last last_;
  // The newest pause that cannot be read: it may be of any target, so it stands for each until
  // somebody says something later.
  journal::Record doubtful_;
  const journal::Record none_ = {};
  journal::Position seen_ = 0;
  std::vector<journal::Record> noted_;  // since a reading of all began
};

// The change to write. Errors: kInvalid (no who or why), kNotFound (not one of `targets`),
// kConflict (it is so already).
base::Result<journal::Change> pause_change(const Pauses& pauses,
                                           const std::vector<std::string>& targets,
                                           const PauseWish& wish);

}  // namespace engine::delivery
