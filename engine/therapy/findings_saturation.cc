// Lowest saturation, desaturation events, time under the ordered limit, recovery time. Durations
// come only from timed readings that lie close together (Settings::series_gap_seconds); otherwise
// they are not determined. Limits come from the order alone.

#include <algorithm>
#include <unordered_map>

#include "engine/therapy/finding_writer.h"
#include "engine/therapy/readings.h"

namespace engine::therapy {
namespace {

using base::Decimal;
using json::Node;
using Series = std::vector<SaturationReading>;

constexpr std::int64_t kSecondMs = 1'000;

Decimal minus(const Decimal& a, const Decimal& b) {
  return Decimal::subtract(a, b).value_or(Decimal());
}

Quantity seconds(std::int64_t milliseconds) {
  return {Decimal::from_int((milliseconds + kSecondMs / 2) / kSecondMs), "s"};
}

Input input_of(const SaturationReading& reading) {
  return {reading.entry->string_at("id"), reading.role};
}

// A series gives many readings of one resource: each is named once.
void add_input(std::vector<Input>& from, const SaturationReading& reading) {
  const Input input = input_of(reading);
  for (const Input& known : from) {
    if (known.entry == input.entry && known.role == input.role) {
      return;
    }
  }
  from.push_back(input);
}

void lowest(FindingWriter& writer, const Series& series) {
  if (series.empty()) {
    return;
  }
  const auto least = std::min_element(
      series.begin(), series.end(),
      [](const SaturationReading& a, const SaturationReading& b) { return a.value < b.value; });
  Finding finding;
  finding.code = finding.role = "lowest-saturation";
  finding.method = "Lowest of the session's readings, v1";
  finding.final = writer.closed() && least->final;
  finding.from = {input_of(*least)};
  finding.value = Quantity{least->value, "%"};
  finding.parts = {{"oxygen", {}, {}, oxygen_text(least->oxygen), {}}};
  writer.add(finding);
}

struct Limits {
  std::optional<Decimal> fall;   // points from rest
  std::optional<Decimal> below;  // %
  std::optional<Decimal> range;  // lower end of the ordered range, %
};

constexpr std::int64_t kInRangeMs = 60 * kSecondMs;

struct Event {
  const SaturationReading* first = nullptr;
  const SaturationReading* nadir = nullptr;
  Decimal rest;
  std::vector<Input> from;
  std::int64_t lasted_ms = 0;
  std::optional<Moment> in_range_since;
  bool determined = true;  // every step between its readings is short enough
};

bool meets(const SaturationReading& reading, const Limits& limits, const Decimal& rest) {
  return (limits.fall && minus(rest, reading.value) >= *limits.fall) ||
         (limits.below && reading.value < *limits.below);
}

// The event stays one until the saturation is back within one point of rest, or has been in the
// ordered range for a minute.
bool is_over(Event& event, const SaturationReading& reading, const Limits& limits) {
  if (minus(event.rest, reading.value) <= Decimal::from_int(1)) {
    return true;
  }
  if (!limits.range || reading.value < *limits.range) {
    event.in_range_since.reset();
    return false;
  }
  if (!event.in_range_since) {
    event.in_range_since = reading.at;
  }
  return reading.at.milliseconds - event.in_range_since->milliseconds >= kInRangeMs;
}

std::vector<Event> find_events(const Series& series, const Limits& limits, std::int64_t gap_ms) {
  std::vector<Event> events;
  std::optional<Decimal> rest;
  std::optional<Event> open;
  const SaturationReading* previous = nullptr;
  for (const SaturationReading& reading : series) {
    if (open) {
      const std::int64_t step = reading.at.milliseconds - previous->at.milliseconds;
      open->determined = open->determined && reading.timed && step <= gap_ms;
      open->lasted_ms += step;
      add_input(open->from, reading);
      if (reading.value < open->nadir->value) {
        open->nadir = &reading;
      }
      if (is_over(*open, reading, limits)) {
        events.push_back(std::move(*open));
        open.reset();
      }
    } else if (rest && meets(reading, limits, *rest)) {
      open = Event{&reading, &reading, *rest, {}, 0, std::nullopt, reading.timed};
      add_input(open->from, reading);
    }
    if (!open && reading.phase == "rest") {
      rest = reading.value;
    }
    previous = &reading;
  }
  if (open) {
    open->determined = false;  // nobody saw its end
    events.push_back(std::move(*open));
  }
  return events;
}

void events(FindingWriter& writer, const Series& series, const Limits& limits,
            std::int64_t gap_ms) {
  if (!limits.fall && !limits.below) {
    return;
  }
  // An id must not depend on the events of other entries. Within a series the later events are
  // counted: a corrected series corrects them in their order.
  std::unordered_map<std::string_view, int> named;
  for (const Event& event : find_events(series, limits, gap_ms)) {
    const int number = ++named[event.first->entry->string_at("id")];
    Finding finding;
    finding.code = "desaturation-event";
    const std::string role = std::string(finding.code) + "-" + std::to_string(number);
    finding.role = number == 1 ? finding.code : std::string_view(role);
    finding.entry = event.first->entry;
    finding.method = "Fall from rest by the order's definition (fall of " +
                     (limits.fall ? limits.fall->to_string() + " points" : std::string("none")) +
                     ", below " +
                     (limits.below ? limits.below->to_string() + " %" : std::string("none")) +
                     "), until within 1 point of rest or 60 s in range, v1";
    finding.final = is_final(*event.first->entry) && event.nadir->final;
    finding.from = event.from;
    finding.value = Quantity{minus(event.rest, event.nadir->value), "%"};
    finding.parts = {{"rest", Quantity{event.rest, "%"}, {}, {}, {}},
                     {"nadir", Quantity{event.nadir->value, "%"}, {}, {}, {}},
                     {"oxygen", {}, {}, oxygen_text(event.nadir->oxygen), {}}};
    if (event.determined) {
      finding.parts.push_back({"duration", seconds(event.lasted_ms), {}, {}, {}});
    } else {
      finding.parts.push_back({"duration", {}, {}, {}, "unknown"});
    }
    writer.add(finding);
  }
}

// Sums the steps that begin under the limit; one step too long makes the sum meaningless.
void under_limit(FindingWriter& writer, const Series& series, const std::optional<Decimal>& low,
                 std::int64_t gap_ms) {
  if (!low || series.empty()) {
    return;
  }
  std::int64_t under_ms = 0;
  bool any = false;
  bool determined = true;
  Finding finding;
  finding.final = writer.closed();
  for (std::size_t i = 0; i < series.size(); ++i) {
    if (series[i].value >= *low) {
      continue;
    }
    any = true;
    add_input(finding.from, series[i]);
    finding.final = finding.final && series[i].final;
    const bool has_next = i + 1 < series.size();
    const std::int64_t step =
        has_next ? series[i + 1].at.milliseconds - series[i].at.milliseconds : 0;
    determined = determined && series[i].timed && has_next && step <= gap_ms;
    under_ms += step;
  }
  if (!any) {
    return;
  }
  finding.code = finding.role = "time-under-limit";
  finding.method = "Time under the ordered " + low->to_string() + " %, from readings at most " +
                   std::to_string(gap_ms / kSecondMs) + " s apart, v1";
  if (determined) {
    finding.value = seconds(under_ms);
  } else {
    finding.absent = "unknown";
  }
  writer.add(finding);
}

// From the last reading of an effort to the first one within a point of the rest before it.
void recovery(FindingWriter& writer, const Series& series, std::int64_t gap_ms) {
  std::optional<Decimal> rest;
  const SaturationReading* effort = nullptr;
  const SaturationReading* previous = nullptr;
  bool determined = true;
  for (const SaturationReading& reading : series) {
    if (reading.phase == "effort") {
      effort = &reading;
      determined = reading.timed;
    } else if (effort != nullptr) {
      determined = determined && reading.timed &&
                   reading.at.milliseconds - previous->at.milliseconds <= gap_ms;
      if (rest && minus(*rest, reading.value) <= Decimal::from_int(1)) {
        Finding finding;
        finding.code = finding.role = "recovery-time";
        finding.entry = effort->entry;
        finding.method = "From the end of effort to the first reading within 1 point of rest (" +
                         rest->to_string() + " %), v1";
        finding.final = effort->final && reading.final;
        add_input(finding.from, *effort);
        add_input(finding.from, reading);
        if (determined) {
          finding.value = seconds(reading.at.milliseconds - effort->at.milliseconds);
        } else {
          finding.absent = "unknown";
        }
        writer.add(finding);
        effort = nullptr;
      }
    }
    if (reading.phase == "rest") {
      rest = reading.value;
    }
    previous = &reading;
  }
}

void trend(FindingWriter& writer, const Series& series) {
  const Node* earlier = writer.session().find("earlier");
  const auto last = earlier != nullptr && earlier->last != nullptr
                        ? value_in(earlier->last->find("lowestSaturation"), "%")
                        : std::nullopt;
  if (!last || series.empty()) {
    return;
  }
  const auto least = std::min_element(
      series.begin(), series.end(),
      [](const SaturationReading& a, const SaturationReading& b) { return a.value < b.value; });
  Finding finding;
  finding.code = finding.role = "saturation-trend";
  finding.method =
      "Lowest saturation minus that of the session before; under 3 points is noise of the "
      "oximeter, v1";
  finding.final = writer.closed() && least->final;
  finding.from = {input_of(*least)};
  finding.value = Quantity{minus(least->value, *last), "%"};
  writer.add(finding);
}

}  // namespace

void add_saturation_findings(FindingWriter& writer, const Readings& readings) {
  const Series& series = readings.saturations;
  const std::int64_t gap_ms = writer.settings().series_gap_seconds * kSecondMs;
  const Node* order = writer.session().find("order");
  const Node* ordered = order != nullptr ? order->find("limits") : nullptr;
  const Node* target = order != nullptr ? order->find("saturationTarget") : nullptr;
  Limits limits;
  if (ordered != nullptr) {
    limits = {value_in(ordered->find("saturationFall"), "%"),
              value_in(ordered->find("saturationBelow"), "%"),
              target != nullptr ? value_in(target->find("low"), "%") : std::nullopt};
  }
  lowest(writer, series);
  trend(writer, series);
  events(writer, series, limits, gap_ms);
  under_limit(writer, series, target != nullptr ? value_in(target->find("low"), "%") : std::nullopt,
              gap_ms);
  recovery(writer, series, gap_ms);
}

}  // namespace engine::therapy
