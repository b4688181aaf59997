#include "engine/fhirpath/temporal.h"

#include <array>
#include <cstddef>
#include <utility>

namespace engine::fhirpath {
namespace {

constexpr std::int64_t kMillisecondsPerDay = 86'400'000;
constexpr std::uint32_t kNanosecondsPerMillisecond = 1'000'000;

// Reads fixed-width fields from the front of a text.
class Reader {
 public:
  explicit Reader(std::string_view text) : text_(text) {}
  bool done() const { return at_ == text_.size(); }
  bool skip(char c) {
    if (at_ < text_.size() && text_[at_] == c) {
      ++at_;
      return true;
    }
    return false;
  }
  // Exactly `width` digits with low <= value <= high.
  bool number(std::size_t width, int low, int high, int& value) {
    if (text_.size() - at_ < width) {
      return false;
    }
    int read = 0;
    for (std::size_t i = 0; i < width; ++i) {
      const char c = text_[at_ + i];
      if (c < '0' || c > '9') {
        return false;
      }
      read = read * 10 + (c - '0');
    }
    at_ += width;
    value = read;
    return read >= low && read <= high;
  }
  // The digits after the point; more than nine are cut, since no clock of this trade is finer.
  bool fraction(Temporal& out) {
    std::size_t count = 0;
    std::uint32_t value = 0;
    while (at_ < text_.size() && text_[at_] >= '0' && text_[at_] <= '9') {
      if (count < 9) {
        value = value * 10 + static_cast<std::uint32_t>(text_[at_] - '0');
        ++count;
      }
      ++at_;
    }
    out.fraction_digits = static_cast<std::uint8_t>(count);
    for (std::size_t i = count; i < 9; ++i) {
      value *= 10;
    }
    out.nanoseconds = value;
    return count > 0;
  }

 private:
  std::string_view text_;
  std::size_t at_ = 0;
};

bool read_date(Reader& in, Temporal& out) {
  int value = 0;
  if (!in.number(4, 1, 9999, value)) {
    return false;
  }
  out.year = static_cast<std::int16_t>(value);
  out.precision = Precision::kYear;
  if (!in.skip('-')) {
    return true;
  }
  if (!in.number(2, 1, 12, value)) {
    return false;
  }
  out.month = static_cast<std::uint8_t>(value);
  out.precision = Precision::kMonth;
  if (!in.skip('-')) {
    return true;
  }
  if (!in.number(2, 1, days_in_month(out.year, out.month), value)) {
    return false;
  }
  out.day = static_cast<std::uint8_t>(value);
  out.precision = Precision::kDay;
  return true;
}

bool read_time(Reader& in, Temporal& out) {
  int value = 0;
  if (!in.number(2, 0, 23, value)) {
    return false;
  }
  out.hour = static_cast<std::uint8_t>(value);
  out.precision = Precision::kHour;
  if (!in.skip(':')) {
    return true;
  }
  if (!in.number(2, 0, 59, value)) {
    return false;
  }
  out.minute = static_cast<std::uint8_t>(value);
  out.precision = Precision::kMinute;
  if (!in.skip(':')) {
    return true;
  }
  // FHIR allows 60 for a leap second.
  if (!in.number(2, 0, 60, value)) {
    return false;
  }
  out.second = static_cast<std::uint8_t>(value);
  out.precision = Precision::kSecond;
  return !in.skip('.') || in.fraction(out);
}

bool read_zone(Reader& in, Temporal& out) {
  if (in.done()) {
    return true;
  }
  out.has_zone = true;
  if (in.skip('Z')) {
    return true;
  }
  int sign = 1;
  if (in.skip('-')) {
    sign = -1;
  } else if (!in.skip('+')) {
    return false;
  }
  int hours = 0;
  int minutes = 0;
  if (!in.number(2, 0, 14, hours) || !in.skip(':') || !in.number(2, 0, 59, minutes)) {
    return false;
  }
  out.zone_minutes = static_cast<std::int16_t>(sign * (hours * 60 + minutes));
  return true;
}

void pad(int value, int width, std::string& out) {
  std::string digits = std::to_string(value);
  out.append(static_cast<std::size_t>(width) > digits.size()
                 ? static_cast<std::size_t>(width) - digits.size()
                 : 0,
             '0');
  out += digits;
}

void print_time(const Temporal& value, std::string& out) {
  pad(value.hour, 2, out);
  if (value.precision >= Precision::kMinute) {
    out.push_back(':');
    pad(value.minute, 2, out);
  }
  if (value.precision >= Precision::kSecond) {
    out.push_back(':');
    pad(value.second, 2, out);
    if (value.fraction_digits > 0) {
      std::string digits = std::to_string(value.nanoseconds);
      digits.insert(0, 9 - digits.size(), '0');
      out.push_back('.');
      out += digits.substr(0, value.fraction_digits);
    }
  }
}

Order order_of(std::int64_t a, std::int64_t b) {
  return a < b ? Order::kLess : (a > b ? Order::kGreater : Order::kEqual);
}

// A value moved to UTC; the parts below its precision stay unknown, so a zone of whole hours is all
// that a value without minutes can bear.
Temporal to_utc(const Temporal& value) {
  if (!value.has_zone || value.zone_minutes == 0 || value.precision < Precision::kHour) {
    return value;
  }
  Temporal out = value;
  std::int64_t minutes =
      day_number(value) * 1440 + value.hour * 60 + value.minute - value.zone_minutes;
  std::int64_t days = minutes / 1440;
  minutes -= days * 1440;
  if (minutes < 0) {
    minutes += 1440;
    --days;
  }
  if (!set_day_number(days, out)) {
    return value;
  }
  out.hour = static_cast<std::uint8_t>(minutes / 60);
  out.minute = static_cast<std::uint8_t>(minutes % 60);
  out.zone_minutes = 0;
  return out;
}

std::array<int, 5> components(const Temporal& value) {
  return {value.year, value.month, value.day, value.hour, value.minute};
}

Order compare_components(const Temporal& a, const Temporal& b) {
  const bool times = a.year == 0 && b.year == 0;  // a time has no year
  const auto left = components(a);
  const auto right = components(b);
  for (std::size_t i = times ? 3 : 0; i < left.size(); ++i) {
    const auto level = static_cast<Precision>(i + 1);
    if (a.precision < level || b.precision < level) {
      return a.precision == b.precision ? Order::kEqual : Order::kUnknown;
    }
    if (left[i] != right[i]) {
      return order_of(left[i], right[i]);
    }
  }
  if (a.precision != b.precision) {
    return Order::kUnknown;
  }
  if (a.precision < Precision::kSecond) {
    return Order::kEqual;
  }
  if (a.second != b.second) {
    return order_of(a.second, b.second);
  }
  return order_of(a.nanoseconds, b.nanoseconds);
}

// Earliest and latest UTC minute that a value without zone may mean, against one that has a zone:
// UTC+14 to UTC-12.
Order compare_with_unknown_zone(const Temporal& zoned, const Temporal& bare) {
  Temporal first = bare;
  first.has_zone = true;
  first.zone_minutes = 14 * 60;
  Temporal last = first;
  last.zone_minutes = -12 * 60;
  const Order early = compare_components(to_utc(zoned), to_utc(first));
  const Order late = compare_components(to_utc(zoned), to_utc(last));
  return early == late && early != Order::kEqual ? early : Order::kUnknown;
}

std::int64_t milliseconds_per(CalendarUnit unit) {
  switch (unit) {
    case CalendarUnit::kYear:
      return 365 * kMillisecondsPerDay;
    case CalendarUnit::kMonth:
      return 30 * kMillisecondsPerDay;
    case CalendarUnit::kWeek:
      return 7 * kMillisecondsPerDay;
    case CalendarUnit::kDay:
      return kMillisecondsPerDay;
    case CalendarUnit::kHour:
      return 3'600'000;
    case CalendarUnit::kMinute:
      return 60'000;
    case CalendarUnit::kSecond:
      return 1'000;
    case CalendarUnit::kMillisecond:
      return 1;
  }
  return 1;
}

std::optional<Temporal> add_months(const Temporal& value, std::int64_t months) {
  const std::int64_t total = std::int64_t{value.year} * 12 + (value.month - 1) + months;
  const std::int64_t year = total / 12;
  if (total < 12 || year < 1 || year > 9999) {
    return std::nullopt;
  }
  Temporal out = value;
  out.year = static_cast<std::int16_t>(year);
  out.month = static_cast<std::uint8_t>(total % 12 + 1);
  const int last = days_in_month(out.year, out.month);
  if (out.day > last) {
    out.day = static_cast<std::uint8_t>(last);
  }
  return out;
}

// Adds milliseconds to the clock; days carry into the date, or vanish where there is none (a time
// wraps).
std::optional<Temporal> add_milliseconds(ItemKind kind, const Temporal& value,
                                         std::int64_t amount) {
  Temporal out = value;
  std::int64_t days = amount / kMillisecondsPerDay;
  std::int64_t within = millisecond_of_day(value) + amount % kMillisecondsPerDay;
  if (within < 0) {
    within += kMillisecondsPerDay;
    --days;
  } else if (within >= kMillisecondsPerDay) {
    within -= kMillisecondsPerDay;
    ++days;
  }
  const std::uint32_t below = value.nanoseconds % kNanosecondsPerMillisecond;
  out.hour = static_cast<std::uint8_t>(within / 3'600'000);
  out.minute = static_cast<std::uint8_t>(within / 60'000 % 60);
  out.second = static_cast<std::uint8_t>(within / 1'000 % 60);
  out.nanoseconds = static_cast<std::uint32_t>(within % 1'000) * kNanosecondsPerMillisecond + below;
  if (out.nanoseconds % 1'000'000'000 != 0 && out.fraction_digits < 3 && amount % 1'000 != 0) {
    out.fraction_digits = 3;
  }
  if (kind != ItemKind::kTime && !set_day_number(day_number(value) + days, out)) {
    return std::nullopt;
  }
  return out;
}

Precision precision_of(CalendarUnit unit) {
  switch (unit) {
    case CalendarUnit::kYear:
      return Precision::kYear;
    case CalendarUnit::kMonth:
      return Precision::kMonth;
    case CalendarUnit::kWeek:
    case CalendarUnit::kDay:
      return Precision::kDay;
    case CalendarUnit::kHour:
      return Precision::kHour;
    case CalendarUnit::kMinute:
      return Precision::kMinute;
    default:
      return Precision::kSecond;
  }
}

// The unit in which a value of this precision counts.
CalendarUnit unit_of(Precision precision) {
  switch (precision) {
    case Precision::kYear:
      return CalendarUnit::kYear;
    case Precision::kMonth:
      return CalendarUnit::kMonth;
    case Precision::kDay:
      return CalendarUnit::kDay;
    case Precision::kHour:
      return CalendarUnit::kHour;
    case Precision::kMinute:
      return CalendarUnit::kMinute;
    default:
      return CalendarUnit::kSecond;
  }
}

// amount of `from` in whole `to`, by the calendar factors (12 months, 365 and 30 days, 24 hours
// ...).
std::int64_t convert_down(std::int64_t amount, CalendarUnit from, CalendarUnit to) {
  if (to == CalendarUnit::kYear && from == CalendarUnit::kMonth) {
    return amount / 12;
  }
  return amount * milliseconds_per(from) / milliseconds_per(to);
}

constexpr std::pair<std::string_view, CalendarUnit> kWords[] = {
    {"year", CalendarUnit::kYear},     {"month", CalendarUnit::kMonth},
    {"week", CalendarUnit::kWeek},     {"day", CalendarUnit::kDay},
    {"hour", CalendarUnit::kHour},     {"minute", CalendarUnit::kMinute},
    {"second", CalendarUnit::kSecond}, {"millisecond", CalendarUnit::kMillisecond},
};

}  // namespace

int days_in_month(int year, int month) {
  constexpr std::array<int, 12> kDays = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
  return month == 2 && leap ? 29 : kDays[static_cast<std::size_t>(month - 1)];
}

// Civil calendar arithmetic on the proleptic Gregorian calendar, counted in eras of 400 years from
// 1 March.
std::int64_t day_number(const Temporal& value) {
  const std::int64_t year = std::int64_t{value.year} - (value.month <= 2 ? 1 : 0);
  const std::int64_t era = (year >= 0 ? year : year - 399) / 400;
  const std::int64_t year_of_era = year - era * 400;
  const std::int64_t month = (value.month + 9) % 12;
  const std::int64_t day_of_year = (153 * month + 2) / 5 + value.day - 1;
  const std::int64_t day_of_era =
      year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
  return era * 146'097 + day_of_era - 719'468;
}

bool set_day_number(std::int64_t days, Temporal& value) {
  days += 719'468;
  const std::int64_t era = (days >= 0 ? days : days - 146'096) / 146'097;
  const std::int64_t day_of_era = days - era * 146'097;
  const std::int64_t year_of_era =
      (day_of_era - day_of_era / 1460 + day_of_era / 36'524 - day_of_era / 146'096) / 365;
  const std::int64_t day_of_year =
      day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
  const std::int64_t shifted = (5 * day_of_year + 2) / 153;
  const std::int64_t month = shifted < 10 ? shifted + 3 : shifted - 9;
  const std::int64_t year = year_of_era + era * 400 + (month <= 2 ? 1 : 0);
  if (year < 1 || year > 9999) {
    return false;
  }
  value.year = static_cast<std::int16_t>(year);
  value.month = static_cast<std::uint8_t>(month);
  value.day = static_cast<std::uint8_t>(day_of_year - (153 * shifted + 2) / 5 + 1);
  return true;
}

std::int64_t millisecond_of_day(const Temporal& value) {
  return ((std::int64_t{value.hour} * 60 + value.minute) * 60 + value.second) * 1'000 +
         value.nanoseconds / kNanosecondsPerMillisecond;
}

std::optional<Temporal> parse_date(std::string_view text) {
  Reader in(text);
  Temporal out;
  return read_date(in, out) && in.done() ? std::optional(out) : std::nullopt;
}

std::optional<Temporal> parse_date_time(std::string_view text) {
  Reader in(text);
  Temporal out;
  if (!read_date(in, out)) {
    return std::nullopt;
  }
  if (in.done() || (in.skip('T') && in.done())) {
    return out;
  }
  if (out.precision != Precision::kDay || !read_time(in, out) || !read_zone(in, out) ||
      !in.done()) {
    return std::nullopt;
  }
  return out;
}

std::optional<Temporal> parse_time(std::string_view text) {
  Reader in(text);
  Temporal out;
  return read_time(in, out) && in.done() ? std::optional(out) : std::nullopt;
}

std::string print_temporal(ItemKind kind, const Temporal& value) {
  std::string out;
  if (kind == ItemKind::kTime) {
    print_time(value, out);
    return out;
  }
  pad(value.year, 4, out);
  if (value.precision >= Precision::kMonth) {
    out.push_back('-');
    pad(value.month, 2, out);
  }
  if (value.precision >= Precision::kDay) {
    out.push_back('-');
    pad(value.day, 2, out);
  }
  if (value.precision >= Precision::kHour) {
    out.push_back('T');
    print_time(value, out);
  }
  if (value.has_zone) {
    if (value.zone_minutes == 0) {
      out.push_back('Z');
    } else {
      const int minutes = value.zone_minutes < 0 ? -value.zone_minutes : value.zone_minutes;
      out.push_back(value.zone_minutes < 0 ? '-' : '+');
      pad(minutes / 60, 2, out);
      out.push_back(':');
      pad(minutes % 60, 2, out);
    }
  }
  return out;
}

Order compare(const Temporal& a, const Temporal& b) {
  if (a.has_zone == b.has_zone) {
    return a.has_zone ? compare_components(to_utc(a), to_utc(b)) : compare_components(a, b);
  }
  if (a.precision < Precision::kHour || b.precision < Precision::kHour) {
    // A date against an instant: decided only where the dates differ by more than any zone can
    // shift.
    const Temporal& date = a.precision < Precision::kHour ? a : b;
    if (date.precision < Precision::kDay) {
      return compare_components(a, b);
    }
    const std::int64_t apart = day_number(a) - day_number(b);
    return apart > 1 ? Order::kGreater : (apart < -1 ? Order::kLess : Order::kUnknown);
  }
  if (a.has_zone) {
    return compare_with_unknown_zone(a, b);
  }
  const Order turned = compare_with_unknown_zone(b, a);
  return turned == Order::kLess ? Order::kGreater
                                : (turned == Order::kGreater ? Order::kLess : turned);
}

std::optional<CalendarUnit> parse_calendar_word(std::string_view word) {
  for (const auto& [name, unit] : kWords) {
    if (word == name ||
        (word.size() == name.size() + 1 && word.starts_with(name) && word.back() == 's')) {
      return unit;
    }
  }
  return std::nullopt;
}

std::string_view name_of(CalendarUnit unit) {
  return kWords[static_cast<std::size_t>(unit)].first;
}

std::optional<CalendarUnit> calendar_unit_of_ucum(std::string_view code, bool approximate) {
  constexpr std::pair<std::string_view, CalendarUnit> kCodes[] = {
      {"wk", CalendarUnit::kWeek},  {"d", CalendarUnit::kDay},
      {"h", CalendarUnit::kHour},   {"min", CalendarUnit::kMinute},
      {"s", CalendarUnit::kSecond}, {"ms", CalendarUnit::kMillisecond},
  };
  for (const auto& [known, unit] : kCodes) {
    if (code == known) {
      return unit;
    }
  }
  if (approximate && code == "a") {
    return CalendarUnit::kYear;
  }
  if (approximate && code == "mo") {
    return CalendarUnit::kMonth;
  }
  return std::nullopt;
}

std::optional<Temporal> add(ItemKind kind, const Temporal& value, std::int64_t amount,
                            CalendarUnit unit) {
  // Nothing within ten thousand years is further away, and the products below stay in range.
  constexpr std::int64_t kMillisecondsMax = 10'000 * 366 * kMillisecondsPerDay;
  if (amount > kMillisecondsMax / milliseconds_per(unit) ||
      amount < -kMillisecondsMax / milliseconds_per(unit)) {
    return std::nullopt;
  }
  if (precision_of(unit) > value.precision) {
    amount = convert_down(amount, unit, unit_of(value.precision));
    unit = unit_of(value.precision);
  }
  if (kind != ItemKind::kTime) {
    if (unit == CalendarUnit::kYear) {
      return add_months(value, amount * 12);
    }
    if (unit == CalendarUnit::kMonth) {
      return add_months(value, amount);
    }
  }
  return add_milliseconds(kind, value, amount * milliseconds_per(unit));
}

int precision_digits(ItemKind kind, const Temporal& value) {
  constexpr std::array<int, 7> kDigits = {0, 4, 6, 8, 10, 12, 14};
  int digits = kDigits[static_cast<std::size_t>(value.precision)];
  if (value.precision == Precision::kSecond) {
    digits += value.fraction_digits;
  }
  return kind == ItemKind::kTime ? digits - 8 : digits;
}

namespace {

// Lowers the precision; what lies past it takes its neutral value.
void cut_to(Precision precision, Temporal& value) {
  value.precision = precision;
  if (precision < Precision::kSecond) {
    value.second = 0;
    value.nanoseconds = 0;
    value.fraction_digits = 0;
  }
  if (precision < Precision::kMinute) {
    value.minute = 0;
  }
  if (precision < Precision::kHour) {
    value.hour = 0;
    value.has_zone = false;
    value.zone_minutes = 0;
  }
  if (precision < Precision::kDay) {
    value.day = 1;
  }
  if (precision < Precision::kMonth) {
    value.month = 1;
  }
}

// The precision that a digit count asks for; 17 (9 for times) is the second with milliseconds.
std::optional<Precision> precision_of_digits(ItemKind kind, int digits) {
  const int counted = kind == ItemKind::kTime ? digits + 8 : digits;
  if (kind == ItemKind::kTime ? digits < 2 : digits < 4) {
    return std::nullopt;
  }
  switch (counted) {
    case 4:
      return Precision::kYear;
    case 6:
      return Precision::kMonth;
    case 8:
      return Precision::kDay;
    case 10:
      return Precision::kHour;
    case 12:
      return Precision::kMinute;
    case 14:
    case 17:
      return Precision::kSecond;
    default:
      return std::nullopt;
  }
}

}  // namespace

std::optional<Temporal> boundary(ItemKind kind, const Temporal& value, bool high, int digits) {
  const std::optional<Precision> wanted = precision_of_digits(kind, digits);
  if (!wanted || (kind == ItemKind::kDate && *wanted > Precision::kDay)) {
    return std::nullopt;
  }
  Temporal out = value;
  // The published suite reads an hour without minutes as minute 00 here.
  const Precision from = value.precision == Precision::kHour ? Precision::kMinute : value.precision;
  if (kind != ItemKind::kTime) {
    if (from < Precision::kMonth) {
      out.month = high ? 12 : 1;
    }
    if (from < Precision::kDay) {
      out.day =
          high ? static_cast<std::uint8_t>(days_in_month(out.year, out.month)) : std::uint8_t{1};
    }
    if (from < Precision::kHour) {
      out.hour = high ? 23 : 0;
    }
  }
  if (from < Precision::kMinute) {
    out.minute = high ? 59 : 0;
  }
  if (from < Precision::kSecond) {
    out.second = high ? 59 : 0;
  }
  if (from < Precision::kSecond || value.fraction_digits < 3) {
    // The unknown digits of the fraction are all zeros or all nines, to the millisecond.
    std::uint32_t step = 1'000'000'000;
    for (int i = 0; i < value.fraction_digits; ++i) {
      step /= 10;
    }
    out.nanoseconds = value.nanoseconds + (high ? step - kNanosecondsPerMillisecond : 0);
  }
  cut_to(*wanted, out);
  out.fraction_digits = (kind == ItemKind::kTime ? digits == 9 : digits == 17) ? 3 : 0;
  if (*wanted >= Precision::kHour && kind == ItemKind::kDateTime && !value.has_zone) {
    out.has_zone = true;
    out.zone_minutes = high ? -12 * 60 : 14 * 60;
  }
  return out;
}

}  // namespace engine::fhirpath
