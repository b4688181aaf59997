#include "engine/check/compare.h"

#include <compare>

#include "engine/base/decimal.h"
#include "engine/fhir/ascii.h"
#include "engine/json/write.h"

namespace engine::check {
namespace {

bool same_number(const json::Node& a, const json::Node& b) {
  if (a.text() == b.text()) {
    return true;
  }
  const std::optional<int> order = compare_numbers(a, b);
  return order.has_value() && *order == 0;
}

bool same_leaf(const json::Node& a, const json::Node& b) {
  if (a.kind != b.kind) {
    return false;
  }
  switch (a.kind) {
    case json::Kind::kNull:
      return true;
    case json::Kind::kBoolean:
      return a.boolean == b.boolean;
    case json::Kind::kNumber:
      return same_number(a, b);
    default:
      return a.text() == b.text();
  }
}

// Seconds since 0001-01-01 as a span [first, last] of what the text may mean.
struct Span {
  std::int64_t first = 0;
  std::int64_t last = 0;
  std::string_view fraction;  // digits after the second, without trailing zeros
  bool has_time = false;
  bool has_zone = false;
};

int read(std::string_view text, std::size_t at, std::size_t digits) {
  int value = 0;
  for (std::size_t i = at; i < at + digits; ++i) {
    if (i >= text.size() || !fhir::is_digit(text[i])) {
      return -1;
    }
    value = value * 10 + (text[i] - '0');
  }
  return value;
}

// Days since 0001-01-01 in the proleptic Gregorian calendar; month from 1, may be 13.
std::int64_t days_from(int year, int month, int day) {
  if (month > 12) {
    ++year;
    month -= 12;
  }
  const std::int64_t y = year - (month <= 2 ? 1 : 0);
  const std::int64_t m = month + (month <= 2 ? 9 : -3);  // March = 0
  return 365 * y + y / 4 - y / 100 + y / 400 + (153 * m + 2) / 5 + day - 1 - 306;
}

constexpr std::int64_t kDay = 86'400;

bool read_zone(std::string_view text, std::int64_t& seconds, bool& has_zone) {
  has_zone = !text.empty();
  seconds = 0;
  if (text.empty() || text == "Z") {
    return true;
  }
  const int hours = read(text, 1, 2);
  const int minutes = read(text, 4, 2);
  if (hours < 0 || minutes < 0) {
    return false;
  }
  seconds = (hours * 60 + minutes) * 60;
  if (text.front() == '-') {
    seconds = -seconds;
  }
  return true;
}

bool read_span(std::string_view text, Span& out) {
  const int year = read(text, 0, 4);
  const int month = text.size() >= 7 ? read(text, 5, 2) : 1;
  const int day = text.size() >= 10 ? read(text, 8, 2) : 1;
  if (year < 0 || month < 1 || month > 12 || day < 1) {
    return false;
  }
  out.first = days_from(year, month, day) * kDay;
  if (text.size() < 10) {
    out.last =
        (text.size() < 7 ? days_from(year + 1, 1, 1) : days_from(year, month + 1, 1)) * kDay - 1;
    return true;
  }
  if (text.size() == 10) {
    out.last = out.first + kDay - 1;
    return true;
  }
  const int hour = read(text, 11, 2);
  const int minute = read(text, 14, 2);
  const int second = read(text, 17, 2);
  if (hour < 0 || minute < 0 || second < 0) {
    return false;
  }
  std::size_t end = 19;
  if (end < text.size() && text[end] == '.') {
    const std::size_t from = ++end;
    while (end < text.size() && fhir::is_digit(text[end])) {
      ++end;
    }
    out.fraction = text.substr(from, end - from);
    while (!out.fraction.empty() && out.fraction.back() == '0') {
      out.fraction.remove_suffix(1);
    }
  }
  std::int64_t zone = 0;
  if (!read_zone(text.substr(end), zone, out.has_zone)) {
    return false;
  }
  out.has_time = true;
  out.first += hour * 3600 + minute * 60 + second - zone;
  out.last = out.first;
  return true;
}

void collect_departures(const json::Node& value, const json::Node& fixed, std::size_t max,
                        std::vector<Departure>& out) {
  if (out.size() >= max || equals_fixed(value, fixed)) {
    return;
  }
  if (value.kind != fixed.kind || (!value.is_object() && !value.is_array())) {
    out.push_back({&value, "found " + shown(value) + "; it is fixed to " + shown(fixed)});
    return;
  }
  if (value.is_array()) {
    const json::Node* other = fixed.first;
    for (const json::Node& item : value) {
      if (other == nullptr) {
        out.push_back({&item, "found " + shown(item) + ", which the fixed value does not have"});
        return;
      }
      collect_departures(item, *other, max, out);
      other = other->next;
    }
    if (other != nullptr) {
      out.push_back({&value, "the fixed value has " + shown(*other) + " besides"});
    }
    return;
  }
  for (const json::Node& member : value) {
    const json::Node* other = fixed.find(member.name->text);
    if (other == nullptr) {
      out.push_back({&member, "found " + shown(member) + ", which the fixed value does not have"});
    } else {
      collect_departures(member, *other, max, out);
    }
  }
  for (const json::Node& wanted : fixed) {
    if (value.find(wanted.name->text) == nullptr) {
      out.push_back({&value, std::string(wanted.name->text) + " is missing; it is fixed to " +
                                 shown(wanted)});
    }
  }
}

}  // namespace

std::vector<Departure> departures(const json::Node& value, const json::Node& fixed,
                                  std::size_t max) {
  std::vector<Departure> out;
  collect_departures(value, fixed, max, out);
  return out;
}

std::optional<int> compare_numbers(const json::Node& a, const json::Node& b) {
  if (!a.is_number() || !b.is_number()) {
    return std::nullopt;
  }
  const base::Result<base::Decimal> left = base::Decimal::parse(a.text());
  const base::Result<base::Decimal> right = base::Decimal::parse(b.text());
  if (!left || !right) {
    return std::nullopt;
  }
  const auto order = *left <=> *right;
  return order < 0 ? -1 : (order > 0 ? 1 : 0);
}

bool equals_fixed(const json::Node& value, const json::Node& fixed) {
  if (!value.is_object() && !value.is_array()) {
    return same_leaf(value, fixed);
  }
  if (value.kind != fixed.kind || value.count != fixed.count) {
    return false;
  }
  if (value.is_array()) {
    const json::Node* other = fixed.first;
    for (const json::Node& item : value) {
      if (!equals_fixed(item, *other)) {
        return false;
      }
      other = other->next;
    }
    return true;
  }
  for (const json::Node& member : value) {
    const json::Node* other = fixed.find(member.name->text);
    if (other == nullptr || !equals_fixed(member, *other)) {
      return false;
    }
  }
  return true;
}

bool matches_pattern(const json::Node& value, const json::Node& pattern) {
  if (pattern.is_array()) {
    if (!value.is_array()) {
      return false;
    }
    for (const json::Node& wanted : pattern) {
      bool found = false;
      for (const json::Node* item = value.first; item != nullptr && !found; item = item->next) {
        found = matches_pattern(*item, wanted);
      }
      if (!found) {
        return false;
      }
    }
    return true;
  }
  if (pattern.is_object()) {
    for (const json::Node& wanted : pattern) {
      const json::Node* member = value.find(wanted.name->text);
      if (member == nullptr || !matches_pattern(*member, wanted)) {
        return false;
      }
    }
    return true;
  }
  return same_leaf(value, pattern);
}

TimeOrder compare_times(std::string_view a, std::string_view b) {
  Span left;
  Span right;
  if (!read_span(a, left) || !read_span(b, right)) {
    return TimeOrder::kOpen;
  }
  // A date has no zone of its own, and neither has a time without one: each may be 14 h off.
  const bool same_ground = (left.has_time && left.has_zone) == (right.has_time && right.has_zone);
  const std::int64_t slack = same_ground ? 0 : 14 * 3600;
  if (left.last + slack < right.first) {
    return TimeOrder::kBefore;
  }
  if (left.first > right.last + slack) {
    return TimeOrder::kAfter;
  }
  if (!same_ground || left.first != right.first || left.last != right.last) {
    return TimeOrder::kOpen;
  }
  if (!left.has_time) {
    return left.last - left.first < kDay ? TimeOrder::kSame : TimeOrder::kOpen;
  }
  const int fractions = left.fraction.compare(right.fraction);
  return fractions < 0 ? TimeOrder::kBefore
                       : (fractions > 0 ? TimeOrder::kAfter : TimeOrder::kSame);
}

std::string shown(std::string_view text) {
  constexpr std::size_t kShown = 80;
  std::string out = "'";
  std::size_t end = text.size() <= kShown ? text.size() : kShown;
  while (end > 0 && end < text.size() && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) {
    --end;
  }
  out += text.substr(0, end);
  out += end < text.size() ? "…'" : "'";
  return out;
}

std::string shown(const json::Node& value) {
  switch (value.kind) {
    case json::Kind::kNull:
      return "null";
    case json::Kind::kBoolean:
      return value.boolean ? "true" : "false";
    case json::Kind::kNumber:
    case json::Kind::kString:
      return shown(value.text());
    default:
      return shown(json::to_text(value));
  }
}

}  // namespace engine::check
