#include "engine/therapy/clock_text.h"

#include <array>
#include <cstddef>

namespace engine::therapy {
namespace {

// Days since 1970-01-01 of a date of the proleptic Gregorian calendar (the usual era arithmetic:
// years run from March, 400 of them are 146,097 days).
std::int64_t days_from_civil(std::int64_t year, int month, int day) {
  year -= month <= 2 ? 1 : 0;
  const std::int64_t era = (year >= 0 ? year : year - 399) / 400;
  const std::int64_t year_of_era = year - era * 400;
  const int shifted = month > 2 ? month - 3 : month + 9;
  const std::int64_t day_of_year = (153 * shifted + 2) / 5 + day - 1;
  const std::int64_t day_of_era =
      year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
  return era * 146'097 + day_of_era - 719'468;
}

struct Date {
  std::int64_t year;
  int month;
  int day;
};

Date civil_from_days(std::int64_t days) {
  days += 719'468;
  const std::int64_t era = (days >= 0 ? days : days - 146'096) / 146'097;
  const std::int64_t day_of_era = days - era * 146'097;
  const std::int64_t year_of_era =
      (day_of_era - day_of_era / 1'460 + day_of_era / 36'524 - day_of_era / 146'096) / 365;
  const std::int64_t day_of_year =
      day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
  const int shifted = static_cast<int>((5 * day_of_year + 2) / 153);
  const int day = static_cast<int>(day_of_year - (153 * shifted + 2) / 5 + 1);
  const int month = shifted < 10 ? shifted + 3 : shifted - 9;
  return {year_of_era + era * 400 + (month <= 2 ? 1 : 0), month, day};
}

std::optional<int> digits(std::string_view text, std::size_t at, std::size_t count) {
  if (at + count > text.size()) {
    return std::nullopt;
  }
  int value = 0;
  for (std::size_t i = at; i < at + count; ++i) {
    if (text[i] < '0' || text[i] > '9') {
      return std::nullopt;
    }
    value = value * 10 + (text[i] - '0');
  }
  return value;
}

std::int64_t floor_divide(std::int64_t a, std::int64_t b) {
  return a / b - (a % b != 0 && a < 0 ? 1 : 0);
}

}  // namespace

std::optional<Moment> parse_moment(std::string_view text) {
  const auto year = digits(text, 0, 4);
  const auto month = digits(text, 5, 2);
  const auto day = digits(text, 8, 2);
  if (!year || !month || !day || *month < 1 || *month > 12) {
    return std::nullopt;
  }
  Moment moment;
  moment.milliseconds = days_from_civil(*year, *month, *day) * 24 * 60 * kMinuteMs;
  if (text.size() <= 10) {
    return moment;
  }
  const auto hour = digits(text, 11, 2);
  const auto minute = digits(text, 14, 2);
  const auto second = digits(text, 17, 2);
  if (!hour || !minute || !second) {
    return std::nullopt;
  }
  moment.has_time = true;
  moment.milliseconds += (*hour * 60 + *minute) * kMinuteMs + *second * 1'000;
  std::size_t at = 19;
  if (at < text.size() && text[at] == '.') {
    int scale = 100;
    for (++at; at < text.size() && text[at] >= '0' && text[at] <= '9'; ++at) {
      moment.milliseconds += (text[at] - '0') * scale;
      scale /= 10;
    }
  }
  if (at < text.size() && (text[at] == '+' || text[at] == '-')) {
    const auto zone_hour = digits(text, at + 1, 2);
    const auto zone_minute = digits(text, at + 4, 2);
    if (!zone_hour || !zone_minute) {
      return std::nullopt;
    }
    moment.offset_minutes = (*zone_hour * 60 + *zone_minute) * (text[at] == '-' ? -1 : 1);
    moment.milliseconds -= moment.offset_minutes * kMinuteMs;
  }
  return moment;
}

std::int64_t local_day(const Moment& moment) {
  return floor_divide(moment.milliseconds + moment.offset_minutes * kMinuteMs, 24 * 60 * kMinuteMs);
}

int local_minutes(const Moment& moment) {
  const std::int64_t local = moment.milliseconds + moment.offset_minutes * kMinuteMs;
  return static_cast<int>((local - local_day(moment) * 24 * 60 * kMinuteMs) / kMinuteMs);
}

std::string local_clock(const Moment& moment) {
  const int minutes = local_minutes(moment);
  std::string text = "00:00";
  const std::array<int, 2> parts = {minutes / 60, minutes % 60};
  for (std::size_t i = 0; i < 2; ++i) {
    text[i * 3] = static_cast<char>('0' + parts[i] / 10);
    text[i * 3 + 1] = static_cast<char>('0' + parts[i] % 10);
  }
  return text;
}

std::optional<int> age_at(std::string_view birth_date, const Moment& moment) {
  const auto year = digits(birth_date, 0, 4);
  const auto month = digits(birth_date, 5, 2);
  const auto day = digits(birth_date, 8, 2);
  if (!year || !month || !day) {
    return std::nullopt;
  }
  const Date today = civil_from_days(local_day(moment));
  int age = static_cast<int>(today.year - *year);
  if (today.month < *month || (today.month == *month && today.day < *day)) {
    --age;
  }
  if (age < 0) {
    return std::nullopt;
  }
  return age;
}

}  // namespace engine::therapy
