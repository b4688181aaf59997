// Parts of dates and times, durations and differences; now, today, timeOfDay. Source:
// FHIRPath 2.0.0, 5.9; the parts, duration() and difference() from 3.0.

#include <algorithm>

#include "engine/fhirpath/function.h"
#include "engine/fhirpath/temporal.h"

namespace engine::fhirpath {
namespace {

// The input as a date or time of one of the kinds; kNothing when empty.
Item moment_input(Call& call, bool dates, bool times) {
  const Item value = call.single_input();
  const bool is_date = value.kind == ItemKind::kDate || value.kind == ItemKind::kDateTime;
  if (value.is_nothing() || (dates && is_date) || (times && value.kind == ItemKind::kTime)) {
    return value;
  }
  call.machine.fail(times ? (dates ? "a date or time is expected" : "a time is expected")
                          : "a date is expected");
}

enum class Part : std::uint8_t { kYear, kMonth, kDay, kHour, kMinute, kSecond, kMillisecond };

template <Part part>
void part_of(Call& call) {
  constexpr bool kOfDate = part < Part::kHour;
  const Item value = moment_input(call, true, !kOfDate);
  if (value.is_nothing() || (value.kind == ItemKind::kDate && !kOfDate)) {
    return;
  }
  const Temporal& moment = value.temporal;
  constexpr auto kNeeded = static_cast<Precision>(std::min<int>(static_cast<int>(part) + 1, 6));
  if (moment.precision < kNeeded) {
    return;
  }
  switch (part) {
    case Part::kYear:
      call.give(Item::of_integer(moment.year));
      return;
    case Part::kMonth:
      call.give(Item::of_integer(moment.month));
      return;
    case Part::kDay:
      call.give(Item::of_integer(moment.day));
      return;
    case Part::kHour:
      call.give(Item::of_integer(moment.hour));
      return;
    case Part::kMinute:
      call.give(Item::of_integer(moment.minute));
      return;
    case Part::kSecond:
      call.give(Item::of_integer(moment.second));
      return;
    case Part::kMillisecond:
      if (moment.fraction_digits > 0) {
        call.give(Item::of_integer(moment.nanoseconds / 1'000'000));
      }
  }
}

void zone_offset(Call& call) {
  const Item value = moment_input(call, true, false);
  if (!value.is_nothing() && value.temporal.has_zone) {
    const auto hours = base::Decimal::divide(base::Decimal::from_int(value.temporal.zone_minutes),
                                             base::Decimal::from_int(60));
    call.give(call.machine.make_decimal(*hours));
  }
}

void date_of(Call& call) {
  const Item value = moment_input(call, true, false);
  if (value.is_nothing()) {
    return;
  }
  Temporal date;
  date.year = value.temporal.year;
  date.month = value.temporal.month;
  date.day = value.temporal.day;
  date.precision = std::min(value.temporal.precision, Precision::kDay);
  call.give(Item::of_temporal(ItemKind::kDate, date));
}

void time_of(Call& call) {
  const Item value = moment_input(call, true, false);
  if (value.is_nothing() || value.temporal.precision < Precision::kHour) {
    return;
  }
  Temporal time = value.temporal;
  time.year = 0;
  time.month = 1;
  time.day = 1;
  time.has_zone = false;
  time.zone_minutes = 0;
  call.give(Item::of_temporal(ItemKind::kTime, time));
}

std::int64_t floor_divide(std::int64_t a, std::int64_t b) {
  return a / b - (a % b < 0 ? 1 : 0);
}

// Milliseconds since 1970-01-01 (midnight for times), zones taken off when both sides have one.
std::int64_t millisecond_number(const Item& item, bool zoned) {
  const Temporal& value = item.temporal;
  const std::int64_t days = item.kind == ItemKind::kTime ? 0 : day_number(value);
  const std::int64_t shift = zoned ? std::int64_t{value.zone_minutes} * 60'000 : 0;
  return days * 86'400'000 + millisecond_of_day(value) - shift;
}

std::int64_t milliseconds_of(CalendarUnit unit) {
  switch (unit) {
    case CalendarUnit::kWeek:
      return 7 * 86'400'000LL;
    case CalendarUnit::kDay:
      return 86'400'000;
    case CalendarUnit::kHour:
      return 3'600'000;
    case CalendarUnit::kMinute:
      return 60'000;
    case CalendarUnit::kSecond:
      return 1'000;
    default:
      return 1;
  }
}

struct Interval {
  Item from;
  Item to;
  CalendarUnit unit;
  bool zoned;
};

// Input, first argument and unit of duration() and difference(); nullopt when one is empty, when a
// zone is missing on one side only, or when a value is not precise enough for the unit.
std::optional<Interval> interval_of(Call& call) {
  const Item from = moment_input(call, true, true);
  const Item to = call.machine.single(call.argument(0));
  const auto word = call.string_argument(1);
  if (from.is_nothing() || to.is_nothing() || !word) {
    return std::nullopt;
  }
  const bool times = from.kind == ItemKind::kTime;
  const bool to_moment =
      to.kind == ItemKind::kDate || to.kind == ItemKind::kDateTime || to.kind == ItemKind::kTime;
  if (!to_moment || times != (to.kind == ItemKind::kTime)) {
    call.machine.fail("two dates or two times are expected");
  }
  const auto unit = parse_calendar_word(*word);
  if (!unit || (times && *unit < CalendarUnit::kHour)) {
    call.machine.fail("a precision such as 'day' or 'minute' is expected");
  }
  constexpr Precision kNeeded[] = {Precision::kYear,   Precision::kMonth, Precision::kDay,
                                   Precision::kDay,    Precision::kHour,  Precision::kMinute,
                                   Precision::kSecond, Precision::kSecond};
  const Precision needed = kNeeded[static_cast<std::size_t>(*unit)];
  if (from.temporal.precision < needed || to.temporal.precision < needed ||
      from.temporal.has_zone != to.temporal.has_zone) {
    return std::nullopt;
  }
  return Interval{from, to, *unit, from.temporal.has_zone};
}

std::int64_t month_number(const Item& item) {
  return std::int64_t{item.temporal.year} * 12 + item.temporal.month - 1;
}

// Whole months between, the last one only when the day and time of day are reached.
std::int64_t whole_months(const Interval& interval) {
  std::int64_t months = month_number(interval.to) - month_number(interval.from);
  const auto within = [&](const Item& item) {
    return (item.temporal.day - 1) * 86'400'000LL + millisecond_of_day(item.temporal);
  };
  if (months > 0 && within(interval.to) < within(interval.from)) {
    --months;
  } else if (months < 0 && within(interval.to) > within(interval.from)) {
    ++months;
  }
  return months;
}

void duration(Call& call) {
  const auto interval = interval_of(call);
  if (!interval) {
    return;
  }
  std::int64_t result = 0;
  if (interval->unit == CalendarUnit::kYear || interval->unit == CalendarUnit::kMonth) {
    result = whole_months(*interval) / (interval->unit == CalendarUnit::kYear ? 12 : 1);
  } else {
    result = (millisecond_number(interval->to, interval->zoned) -
              millisecond_number(interval->from, interval->zoned)) /
             milliseconds_of(interval->unit);
  }
  call.give(Item::of_integer(result));
}

// Boundaries crossed; weeks begin on Sunday, which 1970-01-04 was.
void difference(Call& call) {
  const auto interval = interval_of(call);
  if (!interval) {
    return;
  }
  std::int64_t result = 0;
  if (interval->unit == CalendarUnit::kYear) {
    result = interval->to.temporal.year - interval->from.temporal.year;
  } else if (interval->unit == CalendarUnit::kMonth) {
    result = month_number(interval->to) - month_number(interval->from);
  } else {
    const std::int64_t unit = milliseconds_of(interval->unit);
    const std::int64_t start = interval->unit == CalendarUnit::kWeek ? 3 * 86'400'000LL : 0;
    result = floor_divide(millisecond_number(interval->to, interval->zoned) - start, unit) -
             floor_divide(millisecond_number(interval->from, interval->zoned) - start, unit);
  }
  call.give(Item::of_integer(result));
}

void now(Call& call) {
  call.give(call.machine.now());
}

void today(Call& call) {
  Temporal date = call.machine.now().temporal;
  date.hour = date.minute = date.second = date.fraction_digits = 0;
  date.nanoseconds = 0;
  date.has_zone = false;
  date.zone_minutes = 0;
  date.precision = Precision::kDay;
  call.give(Item::of_temporal(ItemKind::kDate, date));
}

void time_of_day(Call& call) {
  Temporal time = call.machine.now().temporal;
  time.year = 0;
  time.month = time.day = 1;
  time.has_zone = false;
  time.zone_minutes = 0;
  call.give(Item::of_temporal(ItemKind::kTime, time));
}

constexpr Function kFunctions[] = {
    {"now", 0, 0, Gives::kDateTime, now},
    {"today", 0, 0, Gives::kDate, today},
    {"timeOfDay", 0, 0, Gives::kTime, time_of_day},
    {"yearOf", 0, 0, Gives::kInteger, part_of<Part::kYear>},
    {"monthOf", 0, 0, Gives::kInteger, part_of<Part::kMonth>},
    {"dayOf", 0, 0, Gives::kInteger, part_of<Part::kDay>},
    {"hourOf", 0, 0, Gives::kInteger, part_of<Part::kHour>},
    {"minuteOf", 0, 0, Gives::kInteger, part_of<Part::kMinute>},
    {"secondOf", 0, 0, Gives::kInteger, part_of<Part::kSecond>},
    {"millisecondOf", 0, 0, Gives::kInteger, part_of<Part::kMillisecond>},
    {"timezoneOffsetOf", 0, 0, Gives::kDecimal, zone_offset},
    {"dateOf", 0, 0, Gives::kDate, date_of},
    {"timeOf", 0, 0, Gives::kTime, time_of},
    {"duration", 2, 2, Gives::kInteger, duration},
    {"difference", 2, 2, Gives::kInteger, difference},
};

}  // namespace

std::span<const Function> date_functions() {
  return kFunctions;
}

}  // namespace engine::fhirpath
