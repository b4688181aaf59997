// Adherence to the ordered breathing exercise: counted by clock hour of the waking window, so that
// extra breaths of one hour do not pay for another. An hour without a record is "not recorded",
// never "not done". The dose comes from the order; none is established in general.

#include <algorithm>
#include <array>

#include "engine/therapy/finding_writer.h"
#include "engine/therapy/formulas.h"
#include "engine/therapy/readings.h"
#include "engine/therapy/steps.h"

namespace engine::therapy {
namespace {

using base::Decimal;
using json::Node;

constexpr int kHoursADay = 24;

std::optional<int> hour_of(std::string_view time) {
  if (time.size() < 2) {
    return std::nullopt;
  }
  return (time[0] - '0') * 10 + (time[1] - '0');
}

std::int64_t number_at(const Node* object, std::string_view member) {
  const Node* node = object != nullptr ? object->find(member) : nullptr;
  const auto value = Decimal::parse(node != nullptr ? node->text() : "x");
  return value ? value->to_int64().value_or(0) : 0;
}

struct Day {
  std::array<std::int64_t, kHoursADay> breaths{};
  std::array<bool, kHoursADay> recorded{};
  std::vector<Input> from;
  bool final = true;

  void add(const Moment& at, std::int64_t day, std::int64_t breaths_done) {
    if (local_day(at) == day) {
      const auto hour = static_cast<std::size_t>(local_minutes(at) / 60);
      breaths[hour] += breaths_done;
      recorded[hour] = true;
    }
  }
};

Day collect(const Node& session, const Readings& readings, std::int64_t day) {
  Day counted;
  for (const Node* entry : readings.entries) {
    const Node* set = entry->find("breathingExerciser");
    const Node* volumes = set != nullptr ? set->find("repetition") : nullptr;
    const auto at = start_of(*entry);
    if (set != nullptr && at) {
      const std::int64_t breaths = number_at(set, "breaths");
      counted.add(*at, day, breaths > 0 || volumes == nullptr ? breaths : volumes->count);
      counted.from.push_back({entry->string_at("id"), "exerciser-set"});
      counted.final = counted.final && is_final(*entry);
    }
  }
  if (const Node* sets = session.find("breathingSet")) {
    for (const Node& set : *sets) {
      if (const auto at = parse_moment(set.string_at("time"))) {
        counted.add(*at, day, number_at(&set, "breaths"));
      }
    }
  }
  return counted;
}

Finding::Part count_part(std::string_view code, std::int64_t count, std::string_view unit) {
  return {code, Quantity{Decimal::from_int(count), unit}, {}, {}, {}};
}

}  // namespace

void add_adherence_finding(FindingWriter& writer, const Readings& readings) {
  const Node& session = writer.session();
  const Node* order = session.find("order");
  const Node* breathing = order != nullptr ? order->find("breathing") : nullptr;
  const std::int64_t per_hour =
      number_at(breathing, "breathsPerSet") * number_at(breathing, "setsPerHour");
  if (per_hour <= 0) {
    return;
  }
  const auto from = hour_of(breathing->string_at("wakingFrom"));
  const auto to = hour_of(breathing->string_at("wakingTo"));
  const std::string_view closed_at = step_text(&session, {"period", "end"});
  const auto until =
      parse_moment(closed_at.empty() ? step_text(&session, {"period", "start"}) : closed_at);
  if (!from || !to || !until || *to <= *from) {
    return;  // the window comes from the order; without one there is nothing to count against
  }
  const Day day = collect(session, readings, local_day(*until));
  if (day.from.empty() && session.find("breathingSet") == nullptr) {
    return;
  }
  // The hours begun by the end of the session: a day that still goes on is not judged whole.
  const int begun = std::clamp((local_minutes(*until) + 59) / 60, *from, *to);
  std::int64_t done = 0;
  std::int64_t met = 0;
  std::int64_t unrecorded = 0;
  for (int hour = *from; hour < begun; ++hour) {
    const auto h = static_cast<std::size_t>(hour);
    done += std::min(day.breaths[h], per_hour);
    met += day.breaths[h] >= per_hour ? 1 : 0;
    unrecorded += day.recorded[h] ? 0 : 1;
  }
  const std::int64_t hours = begun - *from;
  const auto percent = percent_of(Decimal::from_int(done),
                                  Decimal::from_int(std::max<std::int64_t>(1, per_hour * hours)));
  if (hours == 0 || !percent) {
    return;
  }
  Finding finding;
  finding.code = finding.role = "adherence";
  finding.method =
      "Breaths by clock hour, each hour at most as ordered, of the waking hours begun, v1";
  finding.final = writer.closed() && day.final;
  finding.from = day.from;
  finding.value = Quantity{*percent, "%"};
  finding.parts = {count_part("ordered", per_hour * hours, "1"), count_part("done", done, "1"),
                   count_part("hours-met", met, "h"), count_part("hours-waking", hours, "h"),
                   count_part("hours-unrecorded", unrecorded, "h")};
  writer.add(finding);
}

}  // namespace engine::therapy
