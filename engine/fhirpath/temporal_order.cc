// Dates and times in order.

#include <array>
#include <cstddef>

#include "engine/fhirpath/temporal.h"

namespace engine::fhirpath {
namespace {

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

}  // namespace

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

}  // namespace engine::fhirpath
