#include "engine/fhir/instant.h"

#include <array>
#include <charconv>
#include <chrono>
#include <cstdio>
#include <string_view>

#include "engine/fhir/primitives.h"

namespace engine::fhir {
namespace {

namespace chrono = std::chrono;
using Time = chrono::sys_time<chrono::milliseconds>;

// Of digits that are known to be there.
int number(std::string_view text, std::size_t at, std::size_t count = 2) {
  int out = 0;
  std::from_chars(text.data() + at, text.data() + at + count, out);
  return out;
}

// Of a text that is an instant: 2026-03-02T08:00:00, perhaps a fraction, Z or an offset.
Time time_of(std::string_view text) {
  const chrono::year_month_day day(chrono::year(number(text, 0, 4)),
                                   chrono::month(static_cast<unsigned>(number(text, 5))),
                                   chrono::day(static_cast<unsigned>(number(text, 8))));
  Time time = chrono::sys_days(day) + chrono::hours(number(text, 11)) +
              chrono::minutes(number(text, 14)) + chrono::seconds(number(text, 17));
  int scale = 100;
  for (std::size_t at = 20; text[19] == '.' && text[at] >= '0' && text[at] <= '9'; ++at) {
    time += chrono::milliseconds((text[at] - '0') * scale);
    scale /= 10;
  }
  if (text.back() == 'Z') {
    return time;
  }
  const std::size_t zone = text.size() - 6;
  const chrono::minutes offset = chrono::hours(number(text, zone + 1)) +  //
                                 chrono::minutes(number(text, zone + 4));
  return text[zone] == '-' ? time + offset : time - offset;
}

}  // namespace

base::Result<std::string> utc_of(const std::string& instant) {
  if (instant.empty()) {
    return std::string();
  }
  const base::Error bad(
      base::ErrorCode::kInvalid,
      "write an instant such as 2026-03-02T08:00:00Z or 2026-03-02T09:00:00+01:00", instant);
  if (primitive_fault(Primitive::kInstant, instant) != nullptr) {
    return bad;
  }
  const Time time = time_of(instant);
  const auto midnight = chrono::floor<chrono::days>(time);
  const chrono::year_month_day day(midnight);
  const chrono::hh_mm_ss clock(time - midnight);
  const int year = static_cast<int>(day.year());
  if (year < 1 || year > 9999) {
    return bad;  // an offset took it out of what four digits can say
  }
  std::array<char, 40> text{};
  std::snprintf(text.data(), text.size(), "%04d-%02u-%02uT%02d:%02d:%02d.%03dZ", year,
                static_cast<unsigned>(day.month()), static_cast<unsigned>(day.day()),
                static_cast<int>(clock.hours().count()), static_cast<int>(clock.minutes().count()),
                static_cast<int>(clock.seconds().count()),
                static_cast<int>(clock.subseconds().count()));
  return std::string(text.data());
}

}  // namespace engine::fhir
