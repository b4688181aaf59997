#include "engine/mapping/dates.h"

#include <array>
#include <charconv>
#include <cstdio>

#include "engine/base/decimal.h"
#include "engine/fhir/primitives.h"

namespace engine::mapping {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

struct Fields {
  int year = -1;
  int month = -1;
  int day = -1;
  int hour = -1;
  int minute = -1;
  int second = -1;
  std::string fraction;
  std::string zone;
  bool pm = false;
  bool twelve_hours = false;
};

bool is_digit(char c) {
  return c >= '0' && c <= '9';
}

// Up to `most` digits, at least one.
bool read_number(std::string_view text, std::size_t& at, std::size_t most, int& value) {
  const std::size_t begin = at;
  value = 0;
  while (at < text.size() && at - begin < most && is_digit(text[at])) {
    value = value * 10 + (text[at++] - '0');
  }
  return at > begin;
}

bool read_zone(std::string_view text, std::size_t& at, std::string& zone) {
  if (at < text.size() && text[at] == 'Z') {
    ++at;
    zone = "Z";
    return true;
  }
  if (at >= text.size() || (text[at] != '+' && text[at] != '-')) {
    return false;
  }
  const char sign = text[at++];
  int hours = 0;
  int minutes = 0;
  if (!read_number(text, at, 2, hours)) {
    return false;
  }
  if (at < text.size() && text[at] == ':') {
    ++at;
  }
  read_number(text, at, 2, minutes);
  std::array<char, 16> shown{};
  std::snprintf(shown.data(), shown.size(), "%c%02d:%02d", sign, hours % 100, minutes % 100);
  zone = shown.data();
  return true;
}

bool read_field(char letter, std::size_t width, std::string_view text, std::size_t& at,
                Fields& fields) {
  switch (letter) {
    case 'y':
      return read_number(text, at, width < 4 ? 4 : width, fields.year);
    case 'M':
      return read_number(text, at, 2, fields.month);
    case 'd':
      return read_number(text, at, 2, fields.day);
    case 'H':
      return read_number(text, at, 2, fields.hour);
    case 'h':
      fields.twelve_hours = true;
      return read_number(text, at, 2, fields.hour);
    case 'm':
      return read_number(text, at, 2, fields.minute);
    case 's':
      return read_number(text, at, 2, fields.second);
    case 'S': {
      const std::size_t begin = at;
      while (at < text.size() && is_digit(text[at])) {
        ++at;
      }
      fields.fraction = text.substr(begin, at - begin);
      return at > begin;
    }
    case 'a': {
      const std::string_view half = text.substr(at, 2);
      at += 2;
      fields.pm = half == "PM" || half == "pm";
      return fields.pm || half == "AM" || half == "am";
    }
    default:
      return read_zone(text, at, fields.zone);
  }
}

bool read_fields(std::string_view text, std::string_view format, Fields& fields) {
  constexpr std::string_view kLetters = "yMdHhmsSaZ";
  std::size_t at = 0;
  for (std::size_t i = 0; i < format.size();) {
    const char letter = format[i];
    if (kLetters.find(letter) == std::string_view::npos) {
      if (at >= text.size() || text[at] != letter) {
        return false;
      }
      ++at;
      ++i;
      continue;
    }
    std::size_t width = 0;
    while (i < format.size() && format[i] == letter) {
      ++i;
      ++width;
    }
    if (!read_field(letter, width, text, at, fields)) {
      return false;
    }
  }
  if (fields.twelve_hours && fields.hour >= 0) {
    fields.hour = fields.hour % 12 + (fields.pm ? 12 : 0);
  }
  return at == text.size();
}

std::string two(int value) {
  std::array<char, 16> shown{};
  std::snprintf(shown.data(), shown.size(), "%02d", value);
  return shown.data();
}

std::string print(const Fields& fields, TemporalKind kind) {
  std::string date;
  if (kind != TemporalKind::kTime && fields.year >= 0) {
    std::array<char, 16> year{};
    std::snprintf(year.data(), year.size(), "%04d", fields.year);
    date = year.data();
    if (fields.month >= 0) {
      date += "-" + two(fields.month);
    }
    if (fields.month >= 0 && fields.day >= 0) {
      date += "-" + two(fields.day);
    }
  }
  if (kind == TemporalKind::kDate || fields.hour < 0) {
    return date;
  }
  std::string time = two(fields.hour) + ":" + two(fields.minute < 0 ? 0 : fields.minute) + ":" +
                     two(fields.second < 0 ? 0 : fields.second);
  if (!fields.fraction.empty()) {
    time += "." + fields.fraction;
  }
  return kind == TemporalKind::kTime ? time : date + "T" + time + fields.zone;
}

}  // namespace

Result<std::string> reformat_temporal(std::string_view text, std::string_view format,
                                      TemporalKind kind) {
  if (format.empty()) {
    const std::size_t t = text.find('T');
    if (kind == TemporalKind::kDate) {
      return std::string(text.substr(0, t));
    }
    if (kind == TemporalKind::kTime) {
      std::string_view time = t == std::string_view::npos ? text : text.substr(t + 1);
      return std::string(time.substr(0, time.find_first_of("Z+-")));
    }
    return std::string(text);
  }
  Fields fields;
  if (!read_fields(text, format, fields)) {
    return Error(ErrorCode::kInvalid,
                 "the value does not have the format '" + std::string(format) + "'");
  }
  if (kind == TemporalKind::kDateTime && fields.hour >= 0 && fields.zone.empty()) {
    return Error(ErrorCode::kInvalid, "a dateTime with a time needs a zone: the format '" +
                                          std::string(format) + "' has no Z");
  }
  return print(fields, kind);
}

Result<std::string> from_unix_ticks(std::string_view ticks, std::string_view zone,
                                    TemporalKind kind) {
  std::int64_t seconds = 0;
  const auto parsed = std::from_chars(ticks.data(), ticks.data() + ticks.size(), seconds);
  if (parsed.ec != std::errc() || parsed.ptr != ticks.data() + ticks.size()) {
    return Error(ErrorCode::kInvalid, "the value is no whole number of seconds");
  }
  // Years 0001 to 9999, as FHIR's dates.
  constexpr std::int64_t kEarliest = -62'135'596'800;
  constexpr std::int64_t kLatest = 253'402'300'799;
  Fields fields;
  fields.zone = "Z";
  if (!zone.empty()) {
    std::size_t at = 0;
    if (!read_zone(zone, at, fields.zone) || at != zone.size()) {
      return Error(ErrorCode::kInvalid, "a zone is Z or +hh:mm");
    }
    if (fields.zone != "Z") {
      const std::int64_t minutes = (fields.zone[1] - '0') * 600 + (fields.zone[2] - '0') * 60 +
                                   (fields.zone[4] - '0') * 10 + (fields.zone[5] - '0');
      const std::int64_t shift = (fields.zone[0] == '-' ? -60 : 60) * minutes;
      if (seconds > kEarliest && seconds < kLatest) {
        seconds += shift;
      }
    }
  }
  if (seconds < kEarliest || seconds > kLatest) {
    return Error(ErrorCode::kOutOfRange, "the time is outside the years 1 to 9999");
  }
  // Days to a civil date, counted from 0000-03-01 so that the leap day is the last of its year.
  std::int64_t days = seconds / 86'400;
  std::int64_t rest = seconds % 86'400;
  if (rest < 0) {
    rest += 86'400;
    --days;
  }
  days += 719'468;
  const std::int64_t era = (days >= 0 ? days : days - 146'096) / 146'097;
  const std::int64_t day_of_era = days - era * 146'097;
  const std::int64_t year_of_era =
      (day_of_era - day_of_era / 1'460 + day_of_era / 36'524 - day_of_era / 146'096) / 365;
  const std::int64_t day_of_year =
      day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
  const std::int64_t month_index = (5 * day_of_year + 2) / 153;
  fields.day = static_cast<int>(day_of_year - (153 * month_index + 2) / 5 + 1);
  fields.month = static_cast<int>(month_index < 10 ? month_index + 3 : month_index - 9);
  fields.year = static_cast<int>(year_of_era + era * 400 + (fields.month <= 2 ? 1 : 0));
  fields.hour = static_cast<int>(rest / 3'600);
  fields.minute = static_cast<int>(rest % 3'600 / 60);
  fields.second = static_cast<int>(rest % 60);
  return print(fields, kind);
}

}  // namespace engine::mapping
