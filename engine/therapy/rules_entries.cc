// Each entry by itself, and the entries among each other.

#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include "engine/therapy/clock_text.h"
#include "engine/therapy/readings.h"
#include "engine/therapy/rules.h"

namespace engine::therapy {
namespace {

using base::Decimal;
using json::Node;

struct Span {
  const Node* entry = nullptr;
  Moment start;
  Moment end;
};

void contradiction(const Node& at, std::string text, std::string_view rule, Report& report) {
  if (is_confirmed(at)) {
    report.information("business-rule", at, text + " It was confirmed.", rule);
  } else {
    report.hold("contradiction", at, text + " Correct one of them, or confirm the entry.", rule);
  }
}

// When an entry was, and whether its times can be.
std::optional<Span> span_of(const Node& entry, Report& report) {
  const Node* time = entry.find("time");
  const Node* period = entry.find("period");
  if ((time != nullptr) == (period != nullptr)) {
    report.error("required", entry,
                 time != nullptr ? "An entry has a time or a period, not both: remove one."
                                 : "An entry needs a time or a period: add one.");
    return std::nullopt;
  }
  Span span{&entry, {}, {}};
  const std::string_view from = time != nullptr ? time->text() : period->string_at("start");
  const std::string_view to = time != nullptr ? time->text() : period->string_at("end");
  const auto start = parse_moment(from);
  const auto end = parse_moment(to);
  if (!start || !start->has_time || (end && !end->has_time)) {
    report.error("value", time != nullptr ? *time : *period,
                 "A time at the bedside needs hours, minutes and the offset "
                 "(2026-03-02T09:05:00+01:00).");
    return std::nullopt;
  }
  span.start = *start;
  span.end = end ? *end : *start;
  if (span.end < span.start) {
    report.error("value", *period, "This period ends before it starts: correct one of its times.");
    return std::nullopt;
  }
  if (const auto written = parse_moment(entry.string_at("recordedAt"))) {
    if (*written < span.start) {
      report.error("value", *entry.find("recordedAt"),
                   "This was written down before it happened: correct one of the times.");
    }
  }
  return span;
}

void one_kind(const Node& entry, const SessionModel& model, Report& report) {
  std::string found;
  std::size_t count = 0;
  for (const Node& member : entry) {
    for (const Kind& kind : model.kinds()) {
      if (kind.name == member.name) {
        ++count;
        found += (found.empty() ? "'" : "', '") + std::string(member.name_text());
      }
    }
  }
  if (count > 1) {
    report.error("structure", entry,
                 "An entry carries one kind; here are " + found + "': make an entry of each.");
  } else if (count == 0 && entry.find("absent") == nullptr) {
    report.error("required", entry, "This entry carries nothing: add its kind, or 'absent'.");
  }
}

void oxygen(const Node& oxygen, Report& report) {
  const std::string_view device = oxygen.string_at("device");
  const Node* flow = oxygen.find("flow");
  const auto litres = value_in(flow, "L/min");
  if (device == "room-air" && litres && litres->sign() > 0) {
    contradiction(*flow, "Oxygen is off (room air), yet a flow is recorded.", "oxygen-off", report);
  }
  const Node* fraction = oxygen.find("fraction");
  const auto percent = value_in(fraction, "%");
  if (device == "room-air" && percent && *percent != Decimal::from_int(21)) {
    contradiction(*fraction, "Oxygen is off (room air), yet a fraction other than 21 % is set.",
                  "oxygen-off", report);
  }
  if (device != "room-air" && flow == nullptr && fraction == nullptr) {
    report.information("incomplete", oxygen,
                       "Neither flow nor fraction is recorded with this device.", "oxygen-bare");
  }
}

// Every oxygen element of an entry, wherever its kind keeps it.
void each_oxygen(const Node& node, Report& report) {
  for (const Node& child : node) {
    if (child.is_object()) {
      const bool may_be =
          child.name_text() == "oxygen" || child.name_text() == "from" || child.name_text() == "to";
      if (may_be && !child.string_at("device").empty()) {
        oxygen(child, report);
      }
      each_oxygen(child, report);
    }
  }
}

void pressure(const Node& vitals, Report& report) {
  const auto systolic = value_in(vitals.find("systolic"), "mm[Hg]");
  const auto diastolic = value_in(vitals.find("diastolic"), "mm[Hg]");
  if (systolic && diastolic && *systolic < *diastolic) {
    report.error("value", *vitals.find("diastolic"),
                 "The diastolic pressure lies over the systolic one: correct one of them.",
                 "diastolic");
  }
}

bool is_lying(std::string_view position) {
  return position == "in-bed" || position == "supine" || position == "prone" ||
         position == "left-side" || position == "right-side";
}

// Walked while in bed: a position in bed within the time of a walk.
void walked_in_bed(const std::vector<Span>& spans, Report& report) {
  for (const Span& walk : spans) {
    if (walk.entry->find("walk") == nullptr) {
      continue;
    }
    for (const Span& other : spans) {
      const Node* vitals = other.entry->find("vitals");
      const Node* positioning = other.entry->find("positioning");
      const Node* kind = vitals != nullptr ? vitals : positioning;
      if (kind == nullptr || !is_lying(kind->string_at("position"))) {
        continue;
      }
      const bool in_it = !walk.entry->string_at("id").empty() &&
                         other.entry->string_at("during") == walk.entry->string_at("id");
      const bool overlaps = other.start < walk.end && walk.start < other.end;
      const bool inside = walk.start < other.start && other.end < walk.end;
      if (in_it || overlaps || inside) {
        contradiction(*other.entry,
                      "In bed, while entry '" + std::string(walk.entry->string_at("id")) +
                          "' says that the patient walked.",
                      "walked-in-bed", report);
      }
    }
  }
}

void not_done_but_done(const std::vector<Span>& spans, Report& report) {
  for (const Span& span : spans) {
    const Node* not_done = span.entry->find("notDone");
    if (not_done == nullptr || not_done->string_at("what") != "session") {
      continue;
    }
    for (const Span& other : spans) {
      for (const std::string_view kind :
           {"walk", "transfer", "selfCare", "breathingExerciser", "pepSet", "positioning"}) {
        if (other.entry->find(kind) != nullptr) {
          contradiction(*span.entry,
                        "The session was not done, yet entry '" +
                            std::string(other.entry->string_at("id")) + "' records an activity.",
                        "not-done", report);
          return;
        }
      }
    }
  }
}

// A set says how many breaths it had, by their volumes or as a number; the number has them in it.
void counted_breaths(const Span& span, Report& report) {
  const Node* set = span.entry->find("breathingExerciser");
  if (set == nullptr || !set->is_object()) {
    return;
  }
  const Node* breaths = set->find("breaths");
  const Node* volumes = set->find("repetition");
  if (breaths == nullptr && volumes == nullptr) {
    report.error("required", *set, "A set needs the volumes of its breaths, or their number.");
  } else if (breaths != nullptr && volumes != nullptr && volumes->is_array()) {
    const auto number = Decimal::parse(breaths->text());
    if (number && *number < Decimal::from_int(volumes->count)) {
      report.error("value", *breaths,
                   "There are more volumes than breaths: the number counts every breath of the "
                   "set, those whose volume was read too.");
    }
  }
}

// A reading against the one before it, as the table's row asks.
void jumps(const std::vector<Span>& spans, std::string_view element, std::string_view datum_id,
           const PlausibilityTable& table, Report& report) {
  const Datum* datum = table.find(datum_id);
  if (datum == nullptr || !datum->change_by) {
    return;
  }
  std::optional<Decimal> last;
  Moment last_at;
  for (const Span& span : spans) {
    const Node* vitals = span.entry->find("vitals");
    const Node* reading = vitals != nullptr ? vitals->find(element) : nullptr;
    const auto value = value_in(reading, datum->compare_in);
    if (!value) {
      continue;
    }
    const bool soon =
        span.start.milliseconds - last_at.milliseconds <= datum->change_minutes * kMinuteMs;
    if (last && soon) {
      const auto change = Decimal::subtract(*value, *last);
      if (change && change->abs() >= *datum->change_by) {
        const std::string text = datum->display + " of " + value->to_string() + " after " +
                                 last->to_string() + " is a large change from the last reading.";
        ask(*reading, datum->id, text, report);
      }
    }
    last = value;
    last_at = span.start;
  }
}

void within_session(const Node& session, const std::vector<Span>& spans, Report& report) {
  const Node* period = session.find("period");
  if (period == nullptr || !period->is_object()) {
    return;
  }
  const auto from = parse_moment(period->string_at("start"));
  const auto to = parse_moment(period->string_at("end"));
  for (const Span& span : spans) {
    if (from && span.start < *from) {
      report.error("value", *span.entry,
                   "This entry lies before the start of the session: correct one of the times.");
    } else if (to && *to < span.end) {
      report.error("value", *span.entry,
                   "This entry lies after the end of the session: correct one of the times.");
    }
  }
}

// Counts against the order: more than so many times the ordered breaths asks.
void over_ordered(const Node& session, const Span& span, const PlausibilityTable& table,
                  Report& report) {
  const Datum* datum = table.find("repetitions");
  const Node* order = session.find("order");
  const Node* breathing = order != nullptr ? order->find("breathing") : nullptr;
  const Node* ordered = breathing != nullptr ? breathing->find("breathsPerSet") : nullptr;
  if (datum == nullptr || !datum->over_ordered_times || ordered == nullptr) {
    return;
  }
  std::optional<Decimal> done;
  const Node* at = nullptr;
  if (const Node* pep = span.entry->find("pepSet")) {
    at = pep->find("repetitions");
  } else if (const Node* exerciser = span.entry->find("breathingExerciser")) {
    at = exerciser->find("breaths");
    at = at != nullptr ? at : exerciser->find("repetition");
  }
  if (at == nullptr) {
    return;
  }
  if (at->is_array()) {
    done = Decimal::from_int(at->count);
  } else if (const auto number = Decimal::parse(at->text())) {
    done = *number;
  }
  const auto per_set = Decimal::parse(ordered->text());
  const auto most =
      per_set ? Decimal::multiply(*per_set, *datum->over_ordered_times) : std::nullopt;
  if (done && most && *most < *done) {
    const std::string text = done->to_string() + " repetitions are more than " +
                             datum->over_ordered_times->to_string() + " times the ordered " +
                             per_set->to_string() + ".";
    ask(*at, datum->id, text, report);
  }
}

}  // namespace

void check_entries(const Node& session, const SessionModel& model, const PlausibilityTable& table,
                   Report& report) {
  const Node* entries = session.find("entry");
  if (entries == nullptr || !entries->is_array()) {
    return;
  }
  std::vector<Span> spans;
  for (const Node& entry : *entries) {
    one_kind(entry, model, report);
    each_oxygen(entry, report);
    if (const Node* vitals = entry.find("vitals")) {
      pressure(*vitals, report);
    }
    if (const auto span = span_of(entry, report)) {
      counted_breaths(*span, report);
      over_ordered(session, *span, table, report);
      spans.push_back(*span);
    }
  }
  within_session(session, spans, report);
  std::stable_sort(spans.begin(), spans.end(),
                   [](const Span& a, const Span& b) { return a.start < b.start; });
  walked_in_bed(spans, report);
  not_done_but_done(spans, report);
  jumps(spans, "saturation", "saturation", table, report);
  jumps(spans, "pulse", "pulse", table, report);
}

}  // namespace engine::therapy
