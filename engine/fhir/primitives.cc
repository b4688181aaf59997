#include "engine/fhir/primitives.h"

#include <array>

#include "engine/base/limits.h"
#include "engine/base/utf8.h"
#include "engine/fhir/ascii.h"

namespace engine::fhir {
namespace {

struct Row {
  std::string_view name;
  Primitive primitive;
  json::Kind kind;
};

using json::Kind;
constexpr std::array<Row, 20> kRows = {{
    {"boolean", Primitive::kBoolean, Kind::kBoolean},
    {"integer", Primitive::kInteger, Kind::kNumber},
    {"unsignedInt", Primitive::kUnsignedInt, Kind::kNumber},
    {"positiveInt", Primitive::kPositiveInt, Kind::kNumber},
    {"decimal", Primitive::kDecimal, Kind::kNumber},
    {"string", Primitive::kString, Kind::kString},
    {"markdown", Primitive::kMarkdown, Kind::kString},
    {"code", Primitive::kCode, Kind::kString},
    {"id", Primitive::kId, Kind::kString},
    {"uri", Primitive::kUri, Kind::kString},
    {"url", Primitive::kUrl, Kind::kString},
    {"canonical", Primitive::kCanonical, Kind::kString},
    {"oid", Primitive::kOid, Kind::kString},
    {"uuid", Primitive::kUuid, Kind::kString},
    {"base64Binary", Primitive::kBase64Binary, Kind::kString},
    {"date", Primitive::kDate, Kind::kString},
    {"dateTime", Primitive::kDateTime, Kind::kString},
    {"instant", Primitive::kInstant, Kind::kString},
    {"time", Primitive::kTime, Kind::kString},
    {"xhtml", Primitive::kXhtml, Kind::kString},
}};

// Reads digits and fixed characters from the front of a text.
struct Cursor {
  std::string_view rest;

  bool done() const { return rest.empty(); }
  bool take(char wanted) {
    if (rest.empty() || rest.front() != wanted) {
      return false;
    }
    rest.remove_prefix(1);
    return true;
  }
  // Exactly n digits; -1 when they are not there.
  int number(std::size_t n) {
    if (rest.size() < n) {
      return -1;
    }
    int value = 0;
    for (std::size_t i = 0; i < n; ++i) {
      if (!is_digit(rest[i])) {
        return -1;
      }
      value = value * 10 + (rest[i] - '0');
    }
    rest.remove_prefix(n);
    return value;
  }
  bool digits() {
    const std::size_t before = rest.size();
    while (!rest.empty() && is_digit(rest.front())) {
      rest.remove_prefix(1);
    }
    return rest.size() != before;
  }
};

constexpr const char* kDateForm = "write YYYY, YYYY-MM or YYYY-MM-DD";
constexpr const char* kNoSuchDay = "there is no such day in the calendar";
constexpr const char* kTimeForm =
    "write a time as hh:mm:ss, with a fraction if wanted, 00:00:00 to 23:59:60";

// 1, 2 or 3 parts read; fault otherwise.
const char* scan_date(Cursor& at, int& parts) {
  parts = 0;
  const int year = at.number(4);
  if (year < 0) {
    return kDateForm;
  }
  if (year == 0) {
    return "years run from 0001 to 9999";
  }
  parts = 1;
  if (!at.take('-')) {
    return nullptr;
  }
  const int month = at.number(2);
  if (month < 0) {
    return kDateForm;
  }
  if (month < 1 || month > 12) {
    return "months run from 01 to 12";
  }
  parts = 2;
  if (!at.take('-')) {
    return nullptr;
  }
  const int day = at.number(2);
  if (day < 0) {
    return kDateForm;
  }
  parts = 3;
  return day < 1 || day > days_in_month(year, month) ? kNoSuchDay : nullptr;
}

const char* scan_time(Cursor& at) {
  const int hour = at.number(2);
  if (hour < 0 || hour > 23 || !at.take(':')) {
    return kTimeForm;
  }
  const int minute = at.number(2);
  if (minute < 0 || minute > 59) {
    return kTimeForm;
  }
  if (!at.take(':')) {
    return "a time needs its seconds";
  }
  const int second = at.number(2);
  if (second < 0 || second > 60) {
    return kTimeForm;
  }
  return at.take('.') && !at.digits() ? kTimeForm : nullptr;
}

const char* scan_zone(Cursor& at) {
  if (at.done()) {
    return "a time of a date needs its zone: Z or +hh:mm or -hh:mm";
  }
  if (at.take('Z')) {
    return nullptr;
  }
  if (!at.take('+') && !at.take('-')) {
    return "the zone is Z or +hh:mm or -hh:mm";
  }
  const int hour = at.number(2);
  const bool colon = at.take(':');
  const int minute = at.number(2);
  const bool well = hour >= 0 && colon && minute >= 0 && minute <= 59 &&
                    (hour <= 13 || (hour == 14 && minute == 0));
  return well ? nullptr : "the zone is Z or between -14:00 and +14:00";
}

const char* date_fault(std::string_view text) {
  Cursor at{text};
  int parts = 0;
  const char* fault = scan_date(at, parts);
  return fault != nullptr || at.done() ? fault : kDateForm;
}

const char* moment_fault(std::string_view text, bool time_needed) {
  constexpr const char* kInstantForm =
      "an instant is a whole date, a time with seconds, and a zone";
  Cursor at{text};
  int parts = 0;
  if (const char* fault = scan_date(at, parts)) {
    return fault;
  }
  if (at.done()) {
    return time_needed ? kInstantForm : nullptr;
  }
  if (parts < 3 || !at.take('T')) {
    return time_needed ? kInstantForm
                       : "write YYYY, YYYY-MM, YYYY-MM-DD or YYYY-MM-DDThh:mm:ss+zz:zz";
  }
  if (const char* fault = scan_time(at)) {
    return fault;
  }
  if (const char* fault = scan_zone(at)) {
    return fault;
  }
  return at.done() ? nullptr : "nothing may follow the zone";
}

const char* time_fault(std::string_view text) {
  Cursor at{text};
  if (const char* fault = scan_time(at)) {
    return fault;
  }
  return at.done() ? nullptr : "nothing may follow a time, not even a zone";
}

// Digits only; limit is the largest value.
const char* integer_fault(std::string_view text, std::uint64_t least, std::uint64_t limit,
                          const char* range) {
  if (text.empty() || (text.size() > 1 && text.front() == '0')) {
    return range;
  }
  std::uint64_t value = 0;
  for (const char c : text) {
    if (!is_digit(c)) {
      return "a whole number is written without point and exponent";
    }
    value = value * 10 + static_cast<std::uint64_t>(c - '0');
    if (value > limit) {
      return range;
    }
  }
  return value < least ? range : nullptr;
}

const char* decimal_fault(std::string_view text) {
  constexpr const char* kForm = "a decimal looks like -12.50 or 1.5e3";
  Cursor at{text};
  at.take('-');
  if (!at.take('0') && !at.digits()) {
    return kForm;
  }
  if (at.take('.') && !at.digits()) {
    return kForm;
  }
  if (at.take('e') || at.take('E')) {
    if (!at.take('+')) {
      at.take('-');
    }
    if (!at.digits()) {
      return kForm;
    }
  }
  return at.done() ? nullptr : kForm;
}

// White space is rare: most texts are seen to be well without looking at each character.
constexpr unsigned char kAfterSpaces = ' ' + 1;

const char* string_fault(std::string_view text) {
  if (has_byte_below(text, '\f' + 1)) {
    for (const char c : text) {
      if (c == '\v' || c == '\f') {
        return "a text holds no vertical tab and no form feed";
      }
    }
  }
  if (text.size() > base::limits::kStringCharsMax &&
      base::count_scalars(text) > base::limits::kStringCharsMax) {
    return "a text has at most 1,048,576 characters";
  }
  return nullptr;
}

const char* code_fault(std::string_view text) {
  if (!text.empty() && !has_byte_below(text, kAfterSpaces)) {
    return nullptr;
  }
  bool space_before = true;
  for (const char c : text) {
    const bool space = is_space(c);
    if (space && space_before) {
      return "a code neither begins with a space nor has two in a row";
    }
    space_before = space;
  }
  return space_before ? "a code does not end with a space" : nullptr;
}

const char* id_fault(std::string_view text) {
  constexpr const char* kForm = "an id has 1 to 64 characters out of A-Z a-z 0-9 - and .";
  if (text.size() > 64) {
    return kForm;
  }
  for (const char c : text) {
    if (!is_alphanumeric(c) && c != '-' && c != '.') {
      return kForm;
    }
  }
  return nullptr;
}

const char* uri_fault(std::string_view text) {
  if (!has_byte_below(text, kAfterSpaces)) {
    return nullptr;
  }
  for (const char c : text) {
    if (is_space(c)) {
      return "an address holds no white space";
    }
  }
  return nullptr;
}

const char* oid_fault(std::string_view text) {
  constexpr const char* kForm = "an oid looks like urn:oid:1.2.3 without leading zeros";
  constexpr std::string_view kPrefix = "urn:oid:";
  if (!text.starts_with(kPrefix)) {
    return kForm;
  }
  Cursor at{text.substr(kPrefix.size())};
  const int root = at.number(1);
  if (root < 0 || root > 2) {
    return kForm;
  }
  int arcs = 0;
  while (at.take('.')) {
    const std::string_view from = at.rest;
    if (!at.digits() || (from.front() == '0' && from.size() - at.rest.size() > 1)) {
      return kForm;
    }
    ++arcs;
  }
  return arcs > 0 && at.done() ? nullptr : kForm;
}

const char* uuid_fault(std::string_view text) {
  constexpr const char* kForm =
      "a uuid is urn:uuid: and 8-4-4-4-12 hexadecimal digits in lower case";
  constexpr std::string_view kPattern = "urn:uuid:xxxxxxxx-xxxx-xxxx-xxxx-xxxxxxxxxxxx";
  if (text.size() != kPattern.size()) {
    return kForm;
  }
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool hex = is_digit(text[i]) || (text[i] >= 'a' && text[i] <= 'f');
    if (kPattern[i] == 'x' && i >= 9 ? !hex : text[i] != kPattern[i]) {
      return kForm;
    }
  }
  return nullptr;
}

// Four characters at a time, white space only between the fours (the regex of R4), = only at the
// end (RFC 4648).
const char* base64_fault(std::string_view text) {
  constexpr const char* kForm = "base64 comes in groups of four characters, = only at the end";
  std::size_t in_group = 0;
  std::size_t groups = 0;
  std::size_t padding = 0;
  for (const char c : text) {
    if (is_space(c)) {
      if (in_group != 0) {
        return kForm;
      }
      continue;
    }
    if (c == '=') {
      ++padding;
      if (in_group < 2) {
        return kForm;
      }
    } else if (padding > 0 || (!is_alphanumeric(c) && c != '+' && c != '/')) {
      return kForm;
    }
    if (++in_group == 4) {
      in_group = 0;
      ++groups;
    }
  }
  return in_group == 0 && groups > 0 ? nullptr : kForm;
}

}  // namespace

std::optional<Primitive> primitive_named(std::string_view name) {
  for (const Row& row : kRows) {
    if (row.name == name) {
      return row.primitive;
    }
  }
  return std::nullopt;
}

std::string_view name_of(Primitive primitive) {
  return kRows[static_cast<std::size_t>(primitive)].name;
}

json::Kind json_kind_of(Primitive primitive) {
  return kRows[static_cast<std::size_t>(primitive)].kind;
}

int days_in_month(int year, int month) {
  constexpr std::array<int, 12> kDays = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
  return month == 2 && leap ? 29 : kDays[static_cast<std::size_t>(month - 1)];
}

std::size_t significant_digits(std::string_view number) {
  std::size_t digits = 0;
  for (const char c : number) {
    if (c == 'e' || c == 'E') {
      break;
    }
    if (is_digit(c) && (digits > 0 || c != '0')) {
      ++digits;
    }
  }
  return digits;
}

const char* primitive_fault(Primitive primitive, std::string_view text) {
  constexpr std::uint64_t kMax = 2'147'483'647;
  if (text.empty() && json_kind_of(primitive) == Kind::kString) {
    return "an empty text is no value; leave the property out";
  }
  switch (primitive) {
    case Primitive::kBoolean:
      return text.empty() || text == "true" || text == "false" ? nullptr : "write true or false";
    case Primitive::kInteger: {
      const bool negative = text.starts_with('-');
      return integer_fault(text.substr(negative ? 1 : 0), 0, negative ? kMax + 1 : kMax,
                           "an integer lies between -2147483648 and 2147483647");
    }
    case Primitive::kUnsignedInt:
      return integer_fault(text, 0, kMax, "an unsignedInt lies between 0 and 2147483647");
    case Primitive::kPositiveInt:
      return integer_fault(text, 1, kMax, "a positiveInt lies between 1 and 2147483647");
    case Primitive::kDecimal:
      return decimal_fault(text);
    case Primitive::kString:
    case Primitive::kMarkdown:
      return string_fault(text);
    case Primitive::kCode:
      return code_fault(text);
    case Primitive::kId:
      return id_fault(text);
    case Primitive::kUri:
    case Primitive::kUrl:
    case Primitive::kCanonical:
      return uri_fault(text);
    case Primitive::kOid:
      return oid_fault(text);
    case Primitive::kUuid:
      return uuid_fault(text);
    case Primitive::kBase64Binary:
      return base64_fault(text);
    case Primitive::kDate:
      return date_fault(text);
    case Primitive::kDateTime:
      return moment_fault(text, false);
    case Primitive::kInstant:
      return moment_fault(text, true);
    case Primitive::kTime:
      return time_fault(text);
    case Primitive::kXhtml:
      return nullptr;
  }
  return nullptr;
}

}  // namespace engine::fhir
