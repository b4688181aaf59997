#include "sandbox/record_server/date_range.h"

#include <array>
#include <chrono>
#include <cstdio>

namespace sandbox::record_server {
namespace {

using std::chrono::sys_days;

// Reads a text from the left.
class Reader {
 public:
  explicit Reader(std::string_view text) : left_(text) {}

  bool done() const { return left_.empty(); }
  bool take(char wanted) {
    const bool there = !left_.empty() && left_.front() == wanted;
    left_ = there ? left_.substr(1) : left_;
    return there;
  }
  // Exactly `count` digits.
  std::optional<int> digits(std::size_t count) {
    if (left_.size() < count) {
      return std::nullopt;
    }
    int value = 0;
    for (const char c : left_.substr(0, count)) {
      if (c < '0' || c > '9') {
        return std::nullopt;
      }
      value = value * 10 + (c - '0');
    }
    left_ = left_.substr(count);
    return value;
  }
  // Digits after a point, read as thousandths; further ones are cut.
  std::optional<int> fraction() {
    int value = 0;
    int seen = 0;
    while (!left_.empty() && left_.front() >= '0' && left_.front() <= '9') {
      if (seen++ < 3) {
        value = value * 10 + (left_.front() - '0');
      }
      left_ = left_.substr(1);
    }
    for (int i = seen; i < 3; ++i) {
      value *= 10;
    }
    return seen > 0 ? std::optional(value) : std::nullopt;
  }

 private:
  std::string_view left_;
};

std::int64_t to_milliseconds(std::chrono::year_month_day day) {
  return std::chrono::duration_cast<std::chrono::milliseconds>(sys_days(day).time_since_epoch())
      .count();
}

// "Z" or "+hh:mm", in milliseconds east of Greenwich.
std::optional<std::int64_t> read_zone(Reader& reader) {
  if (reader.take('Z')) {
    return 0;
  }
  const bool east = reader.take('+');
  if (!east && !reader.take('-')) {
    return std::nullopt;
  }
  const auto hours = reader.digits(2);
  const bool colon = reader.take(':');
  const auto minutes = reader.digits(2);
  if (!hours || !colon || !minutes || *hours > 14 || *minutes > 59) {
    return std::nullopt;
  }
  const std::int64_t offset = (*hours * 60 + *minutes) * std::int64_t{60'000};
  return east ? offset : -offset;
}

std::optional<DateRange> read_time(Reader& reader, std::int64_t day) {
  const auto hours = reader.digits(2);
  const bool colon = reader.take(':');
  const auto minutes = reader.digits(2);
  if (!hours || !colon || !minutes || *hours > 23 || *minutes > 59) {
    return std::nullopt;
  }
  std::int64_t at = day + (*hours * 60 + *minutes) * std::int64_t{60'000};
  std::int64_t width = 60'000;
  if (reader.take(':')) {
    const auto seconds = reader.digits(2);
    if (!seconds || *seconds > 60) {
      return std::nullopt;
    }
    at += *seconds * std::int64_t{1'000};
    width = 1'000;
    if (reader.take('.')) {
      const auto thousandths = reader.fraction();
      if (!thousandths) {
        return std::nullopt;
      }
      at += *thousandths;
      width = 1;
    }
  }
  const auto zone = reader.done() ? std::optional<std::int64_t>(0) : read_zone(reader);
  if (!zone || !reader.done()) {
    return std::nullopt;
  }
  return DateRange{at - *zone, at - *zone + width};
}

}  // namespace

std::optional<DateRange> parse_date_range(std::string_view text) {
  using namespace std::chrono;
  Reader reader(text);
  const auto y = reader.digits(4);
  if (!y || *y == 0) {
    return std::nullopt;
  }
  if (reader.done()) {
    return DateRange{to_milliseconds(year(*y) / January / 1),
                     to_milliseconds(year(*y + 1) / January / 1)};
  }
  const bool dash = reader.take('-');
  const auto m = reader.digits(2);
  if (!dash || !m || *m < 1 || *m > 12) {
    return std::nullopt;
  }
  const year_month_day first = year(*y) / month(static_cast<unsigned>(*m)) / 1;
  if (reader.done()) {
    return DateRange{to_milliseconds(first), to_milliseconds(first + months(1))};
  }
  const bool second_dash = reader.take('-');
  const auto d = reader.digits(2);
  if (!second_dash || !d) {
    return std::nullopt;
  }
  const year_month_day date = first.year() / first.month() / day(static_cast<unsigned>(*d));
  if (!date.ok()) {
    return std::nullopt;
  }
  const std::int64_t at = to_milliseconds(date);
  if (reader.done()) {
    return DateRange{at, at + std::int64_t{86'400'000}};
  }
  return reader.take('T') ? read_time(reader, at) : std::nullopt;
}

std::string to_http_date(std::int64_t milliseconds) {
  using namespace std::chrono;
  static constexpr std::array kDays = {"Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"};
  static constexpr std::array kMonths = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                         "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
  const auto time =
      floor<seconds>(sys_time<std::chrono::milliseconds>(std::chrono::milliseconds(milliseconds)));
  const auto midnight = floor<days>(time);
  const year_month_day date(midnight);
  const hh_mm_ss clock(time - midnight);
  std::array<char, 64> text{};
  std::snprintf(text.data(), text.size(), "%s, %02u %s %04d %02d:%02d:%02d GMT",
                kDays.at(weekday(midnight).c_encoding()), static_cast<unsigned>(date.day()),
                kMonths.at(static_cast<unsigned>(date.month()) - 1), static_cast<int>(date.year()),
                static_cast<int>(clock.hours().count()), static_cast<int>(clock.minutes().count()),
                static_cast<int>(clock.seconds().count()));
  return text.data();
}

}  // namespace sandbox::record_server
