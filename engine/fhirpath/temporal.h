#pragma once
// Dates, dates with time, and times with partial precision: reading, printing, comparing, adding.
// Source: FHIRPath 2.0.0, "Date/Time equality", "Date/Time arithmetic"; the published R4 test file
// where it is stricter.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "engine/base/decimal.h"
#include "engine/fhirpath/item.h"

namespace engine::fhirpath {

// The literal forms without @ and T: "2015", "2015-02", "2015-02-04"; the same with "T", "T14",
// "T14:34", "T14:34:28.123" and a zone; "14:34". nullopt for any other text and for days that do
// not exist.
std::optional<Temporal> parse_date(std::string_view text);
std::optional<Temporal> parse_date_time(
    std::string_view text);  // the T may be missing after a whole date
std::optional<Temporal> parse_time(std::string_view text);

// Without @ and T prefix; a date with time of day or lower precision prints without T.
std::string print_temporal(ItemKind kind, const Temporal& value);

enum class Order : std::uint8_t { kLess, kEqual, kGreater, kUnknown };
// Component by component; kUnknown where one side stops first, or where only one side has a zone
// and it may matter. Both are dates (with or without time) or both are times.
Order compare(const Temporal& a, const Temporal& b);

enum class CalendarUnit : std::uint8_t {
  kYear,
  kMonth,
  kWeek,
  kDay,
  kHour,
  kMinute,
  kSecond,
  kMillisecond
};
// The calendar's factors: a year of 365 days, a month of 30, a week of 7, then 24, 60, 60, 1000.
// Source: FHIRPath 3.0, time-valued quantities.
std::int64_t milliseconds_per(CalendarUnit unit);
// "day", "days" ...; nullopt for other words.
std::optional<CalendarUnit> parse_calendar_word(std::string_view word);
std::string_view name_of(CalendarUnit unit);
// The UCUM codes that mean the same length: wk d h min s ms. With `approximate` also a and mo.
std::optional<CalendarUnit> calendar_unit_of_ucum(std::string_view code, bool approximate);

// value + amount units; the fraction of the amount is dropped. nullopt when the result leaves the
// years 1 to 9999.
std::optional<Temporal> add(ItemKind kind, const Temporal& value, std::int64_t amount,
                            CalendarUnit unit);

// Days since 1970-01-01 of the date part, milliseconds since its midnight, both as written (no zone
// shift).
std::int64_t day_number(const Temporal& value);
std::int64_t millisecond_of_day(const Temporal& value);
// Sets year, month and day from a day number; false outside the years 1 to 9999.
bool set_day_number(std::int64_t days, Temporal& value);

// The earliest or latest instant that the value may mean, at most `digits` digits long
// (FHIRPath 3.0 lowBoundary and highBoundary: dates 4, 6, 8; with time 10, 12, 14, 17; times 2, 4,
// 6, 9). nullopt for other numbers.
std::optional<Temporal> boundary(ItemKind kind, const Temporal& value, bool high, int digits);
// The digits of a value as FHIRPath 3.0 precision() counts them.
int precision_digits(ItemKind kind, const Temporal& value);

}  // namespace engine::fhirpath
