#include "engine/fhirpath/temporal.h"

#include <cstddef>

#include "engine/fhir/primitives.h"

namespace engine::fhirpath {
namespace {

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
  if (!in.number(2, 1, fhir::days_in_month(out.year, out.month), value)) {
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

}  // namespace

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

}  // namespace engine::fhirpath
