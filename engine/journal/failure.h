#pragma once
// Why a journal cannot be written, told to those who run the engine: what kind of trouble it is,
// and when the log has a line about it.

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "engine/base/result.h"

namespace engine::journal {

class Store;

struct FailureKind {
  std::string_view name;  // stable: "disk-full", "database" ...
  std::string_view text;  // what it is and where to look; nothing of the journal's content
};
// Of an error of Store::commit().
FailureKind kind_of_failure(const base::Error& error);

// Of an error of a read: whether nothing is wrong with what was read, and whoever was given the
// master key that is in force by now can read it.
bool is_for_want_of_a_key(const Store& store, const base::Error& error);

// A line at the first failure, then at most one a minute, and one when it is over; of what is
// damaged for some changes only, one a minute. Not thread safe.
class FailureLog {
 public:
  using Time = std::chrono::steady_clock::time_point;
  struct Line {
    std::string event;  // "journal-failing", "journal-well" or "journal-damaged"
    std::string rest;
  };
  FailureLog() = default;
  // Under other names for the first two.
  FailureLog(std::string failing, std::string well)
      : failing_(std::move(failing)), well_(std::move(well)) {}
  std::optional<Line> failed(const base::Error& why, Time now);
  std::optional<Line> well(Time now);
  std::optional<Line> damaged(const base::Error& what, Time now);

 private:
  const std::string failing_ = "journal-failing";
  const std::string well_ = "journal-well";
  std::uint64_t failures_ = 0;  // since it was well
  Time since_{};
  Time next_{};
  std::uint64_t damaged_ = 0;  // changes that were not written, since the start
  Time next_damaged_{};
};

}  // namespace engine::journal
