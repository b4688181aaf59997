#pragma once
// How long a site keeps bodies: "10 years", "18 months", "90 days".

#include <chrono>
#include <cstdint>
#include <string>
#include <string_view>

#include "engine/base/result.h"

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

// The file, beside the journal, of the instant at which the clock was believed last.
inline constexpr const char* kClockFile = ".clock";

}  // namespace engine::journal
