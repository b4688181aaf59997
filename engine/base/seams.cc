#include "engine/base/seams.h"

#include <array>
#include <cstdio>

namespace engine::base {

std::string to_instant(std::chrono::system_clock::time_point time) {
  using std::chrono::days;
  using std::chrono::floor;
  using std::chrono::milliseconds;
  const auto day = floor<days>(time);
  const std::chrono::year_month_day date(day);
  const std::chrono::hh_mm_ss clock(floor<milliseconds>(time - day));
  std::array<char, 40> text{};
  const int n = std::snprintf(
      text.data(), text.size(), "%04d-%02u-%02uT%02d:%02d:%02d.%03dZ",
      static_cast<int>(date.year()), static_cast<unsigned>(date.month()),
      static_cast<unsigned>(date.day()), static_cast<int>(clock.hours().count()),
      static_cast<int>(clock.minutes().count()), static_cast<int>(clock.seconds().count()),
      static_cast<int>(clock.subseconds().count()));
  return {text.data(), static_cast<std::size_t>(n)};
}

}  // namespace engine::base
