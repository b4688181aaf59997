#pragma once
// How long treatments took into the record: from the end of the treatment, as the session document
// says it, to being taken in and to landing. One measure a session and target, that of its first
// landing: a correction weeks later is no delay.

#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/store.h"
#include "engine/replay/replay.h"

namespace engine::replay {

// A distribution of times in fixed memory: quotients are right to 1 in 64, upwards; up to a minute
// and the worst one exactly, to the second.
class Delays {
 public:
  // Less than zero, when a clock was wrong, counts as zero and in early().
  void add(std::int64_t milliseconds);
  std::uint64_t count() const { return count_; }
  std::uint64_t early() const { return early_; }
  // Seconds within which this share (0 < share <= 1) of them came, by nearest rank; 0 of none.
  std::int64_t seconds_at(double share) const;
  std::int64_t worst() const { return worst_; }

 private:
  static constexpr std::size_t kFine = 64;  // buckets of each doubling
  static constexpr std::size_t kDoublings = 32;
  static std::size_t bucket_of(std::int64_t seconds);
  static std::int64_t end_of(std::size_t bucket);

  std::array<std::uint32_t, kFine * kDoublings> buckets_{};
  std::uint64_t count_ = 0;
  std::uint64_t early_ = 0;
  std::int64_t worst_ = 0;
};

struct DelayRow {
  std::string target;
  std::string therapist;  // "" for all of the target; "others" for those over limits::kPeopleMax
  Delays accepted;        // treatment to taken in
  Delays landed;          // treatment to landed
};

struct DelayReport {
  std::vector<DelayRow> rows;    // by target, then therapist
  std::uint64_t unreadable = 0;  // records, perhaps of landings, that cannot be read any more
  std::uint64_t untimed = 0;     // landed documents without a time to measure from
};

// `range` is over the time of landing. Errors: kIo, kCorrupt.
base::Result<DelayReport> delays(const journal::Store& store, const Range& range);

}  // namespace engine::replay
