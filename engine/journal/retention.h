#pragma once
// How long a site keeps bodies: "10 years", "18 months", "90 days".

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "engine/base/result.h"
#include "engine/journal/record.h"

namespace engine::journal {

struct Retention {
  enum class Unit : std::uint8_t { kDays, kMonths, kYears };
  int count = 0;  // at least 1
  Unit unit = Unit::kYears;
};

// Errors: kInvalid for anything but a whole number from 1 and day(s), month(s) or year(s).
base::Result<Retention> parse_retention(std::string_view text);
// The instant before which bodies are older than that, by the calendar in UTC: a year before 29
// February is 28 February.
std::string cutoff_of(const Retention& retention, std::chrono::system_clock::time_point now);

// As base::to_instant() writes it.
bool is_instant(std::string_view text);
// Whether it is no further than limits::kClockStepMax ahead of an instant at which the clock was
// believed. One that is behind makes nothing old that is not.
bool is_believable(std::string_view believed, std::chrono::system_clock::time_point now);

// How far an engine believes its clock. Of one thread.
class ClockBelief {
 public:
  // An instant at which the clock was believed, and the last record that was looked at for a person
  // who believes it.
  explicit ClockBelief(std::string at, Position through = 0)
      : at_(std::move(at)), through_(through) {}
  void follow(const ClockBelief& kept) {  // what its file says
    at_ = kept.at_;
    through_ = kept.through_;
  }
  const std::string& at() const { return at_; }
  Position through() const { return through_; }
  // Takes in an expired record, and all before it. A person who removed bodies by a clock believes
  // it, for each engine of the journal, once: what is set right afterwards stays so.
  void read(const Record& record);
  void read_through(Position position) { through_ = position; }
  // Whether this clock is believed. The instant goes on with it, and back when the clock has been
  // behind for limits::kRetentionLook: what was believed by mistake is not for good, and a clock
  // that comes right soon after a start does no harm.
  bool believes(std::chrono::system_clock::time_point now,
                std::chrono::steady_clock::time_point steady);

  // The line of the file, and what it said; nullopt for anything else. Earlier versions wrote no
  // record.
  std::string print() const;
  static std::optional<ClockBelief> parse(std::string_view line);

 private:
  std::string at_;
  Position through_;
  std::optional<std::chrono::steady_clock::time_point> behind_since_;
};

// The file, beside the journal, of an engine's belief.
inline constexpr const char* kClockFile = ".clock";

}  // namespace engine::journal
