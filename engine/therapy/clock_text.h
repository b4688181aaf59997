#pragma once
// FHIR dateTime and instant texts as points in time. Only for texts that passed the lexical rules
// of fhir/primitives.h. Offsets are those written; there is no time-zone table and no wall clock
// here, so a change to daylight-saving time is simply another offset.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace engine::therapy {

struct Moment {
  std::int64_t milliseconds = 0;  // since 1970-01-01T00:00:00Z
  int offset_minutes = 0;         // as written: +01:00 is 60
  bool has_time = false;          // false for a bare date, which has no place in the day

  friend bool operator==(const Moment& a, const Moment& b) {
    return a.milliseconds == b.milliseconds;
  }
  friend bool operator<(const Moment& a, const Moment& b) {
    return a.milliseconds < b.milliseconds;
  }
};

// nullopt for text that is no full date.
std::optional<Moment> parse_moment(std::string_view text);

// "14:05" on the clock of the place where it was written.
std::string local_clock(const Moment& moment);
// Minutes since local midnight.
int local_minutes(const Moment& moment);
// Days since 1970-01-01 on the local calendar.
std::int64_t local_day(const Moment& moment);

// Full years from a birth date ("1966-02-11") to a moment, by the local calendar. nullopt when the
// date has no month and day, or lies in the future.
std::optional<int> age_at(std::string_view birth_date, const Moment& moment);

inline constexpr std::int64_t kMinuteMs = 60'000;

}  // namespace engine::therapy
