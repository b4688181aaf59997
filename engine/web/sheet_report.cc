#include "engine/web/sheet_report.h"

#include <algorithm>
#include <charconv>
#include <chrono>
#include <utility>

#include "engine/base/limits.h"
#include "engine/fhir/primitives.h"
#include "engine/web/sheet_limits.h"

namespace engine::web {
namespace {

using base::Error;
using base::ErrorCode;
using json::Node;

int digits(std::string_view text) {
  int value = 0;
  std::from_chars(text.data(), text.data() + text.size(), value);
  return value;
}

// The text of a number member within what a patient can mean; the intake says what is plausible.
base::Result<std::string> number_at(const Node& object, std::string_view name, int most_digits,
                                    bool whole) {
  const Node* member = object.find(name);
  if (member == nullptr) {
    return std::string();
  }
  const std::string_view text = member->text();
  const std::string_view before = text.substr(0, text.find('.'));
  const bool plain = member->is_number() && !before.empty() &&
                     before.size() <= static_cast<std::size_t>(most_digits) &&
                     text.size() <= before.size() + 3 && (!whole || before.size() == text.size()) &&
                     text.find_first_not_of("0123456789.") == std::string_view::npos;
  if (!plain) {
    return Error(ErrorCode::kInvalid, "'" + std::string(name) + "' is a " +
                                          (whole ? "whole number" : "number") + " of at most " +
                                          std::to_string(most_digits) +
                                          " digits before the point and two behind it");
  }
  return std::string(text);
}

void add_amount(std::string& out, std::string_view name, const std::string& value,
                std::string_view unit) {
  out += out.back() == '{' ? "\"" : ",\"";
  out.append(name).append(R"(":{"value":)").append(value);
  out.append(R"(,"unit":")").append(unit).append("\"}");
}

base::Result<std::string> read_set(const Node& set) {
  const auto breaths = number_at(set, "breaths", 3, true);
  const auto best = number_at(set, "best", 5, true);
  if (!breaths || !best) {
    return breaths ? best.error() : breaths.error();
  }
  if (breaths->empty()) {
    return Error(ErrorCode::kInvalid, "a set needs the number of its breaths: 'breaths'");
  }
  std::string out = R"("breathingExerciser":{)";
  if (!best->empty()) {
    out += R"("repetition":[{)";
    add_amount(out, "volume", *best, "mL");
    out += "}],";
  }
  return out + "\"breaths\":" + *breaths + "}";
}

base::Result<std::string> read_reading(const Node& reading) {
  const auto saturation = number_at(reading, "saturation", 3, false);
  const auto pulse = number_at(reading, "pulse", 3, true);
  if (!saturation || !pulse) {
    return saturation ? pulse.error() : saturation.error();
  }
  if (saturation->empty()) {
    return Error(ErrorCode::kInvalid, "a reading needs a 'saturation'");
  }
  std::string out = R"("vitals":{)";
  add_amount(out, "saturation", *saturation, "%");
  if (!pulse->empty()) {
    add_amount(out, "pulse", *pulse, "/min");
    out += R"(,"pulseSource":"oximeter")";
  }
  return out + "}";
}

bool is_id(std::string_view text) {
  return fhir::primitive_fault(fhir::Primitive::kId, text) == nullptr;
}

base::Result<SheetEntry> read_entry(const Node& one) {
  SheetEntry entry;
  entry.id = one.string_at("id");
  entry.time = one.string_at("time");
  const auto at = milliseconds_of(entry.time);
  if (!is_id(entry.id) || !at) {
    return Error(ErrorCode::kInvalid,
                 "an entry needs an 'id' of letters, digits, '-' and '.', and a 'time' with "
                 "seconds and an offset");
  }
  entry.at_ms = *at;
  const Node* set = one.find("set");
  const Node* reading = one.find("reading");
  if ((set != nullptr) == (reading != nullptr)) {
    return Error(ErrorCode::kInvalid, "an entry is either a 'set' or a 'reading'");
  }
  auto kind = set != nullptr ? read_set(*set) : read_reading(*reading);
  if (!kind) {
    return kind.error();
  }
  entry.kind = std::move(*kind);
  return entry;
}

}  // namespace

std::optional<std::int64_t> milliseconds_of(std::string_view time) {
  constexpr std::size_t kToSeconds = 19;  // 2026-03-02T09:02:00
  if (time.size() <= kToSeconds ||
      fhir::primitive_fault(fhir::Primitive::kDateTime, time) != nullptr) {
    return std::nullopt;
  }
  const std::chrono::sys_days day = std::chrono::year(digits(time.substr(0, 4))) /
                                    digits(time.substr(5, 2)) / digits(time.substr(8, 2));
  std::int64_t seconds = std::chrono::seconds(day.time_since_epoch()).count() +
                         digits(time.substr(11, 2)) * 3'600 + digits(time.substr(14, 2)) * 60 +
                         digits(time.substr(17, 2));
  std::string_view rest = time.substr(kToSeconds);
  std::int64_t thousandths = 0;
  if (rest.front() == '.') {
    const std::size_t end = std::min(rest.find_first_not_of("0123456789", 1), rest.size());
    std::string fraction(rest.substr(1, std::min<std::size_t>(3, end - 1)));
    fraction.resize(3, '0');
    thousandths = digits(fraction);
    rest.remove_prefix(end);
  }
  if (rest.size() == 6) {  // +01:00
    const int offset = digits(rest.substr(1, 2)) * 3'600 + digits(rest.substr(4, 2)) * 60;
    seconds += rest.front() == '-' ? offset : -offset;
  }
  return seconds * 1'000 + thousandths;
}

base::Result<SheetReport> read_report(const Node& body) {
  SheetReport report;
  const Node* entries = body.find("entries");
  const Node* back = body.find("takenBack");
  for (const Node* list : {entries, back}) {
    if (list != nullptr &&
        (!list->is_array() || list->count > base::limits::kSheetEntriesAtOnceMax)) {
      return Error(ErrorCode::kLimit, "'entries' and 'takenBack' are lists of at most " +
                                          std::to_string(base::limits::kSheetEntriesAtOnceMax) +
                                          " items");
    }
  }
  for (const Node* one = entries != nullptr ? entries->first : nullptr; one != nullptr;
       one = one->next) {
    auto entry = read_entry(*one);
    if (!entry) {
      return entry.error();
    }
    report.entries.push_back(std::move(*entry));
  }
  for (const Node* one = back != nullptr ? back->first : nullptr; one != nullptr; one = one->next) {
    if (!one->is_string() || !is_id(one->text())) {
      return Error(ErrorCode::kInvalid, "'takenBack' holds ids of entries");
    }
    report.taken_back.emplace_back(one->text());
  }
  return report;
}

}  // namespace engine::web
