// Identity, people, period, order, and references between the parts of a session document.

#include <string>
#include <unordered_set>
#include <utility>

#include "engine/base/decimal.h"
#include "engine/therapy/clock_text.h"
#include "engine/therapy/rules.h"

namespace engine::therapy {
namespace {

using json::Node;

void whole_identifier(const Node* identifier, std::string_view whose, Report& report) {
  if (identifier == nullptr || !identifier->is_object()) {
    return;  // its absence is said where the model asks for it
  }
  for (const std::string_view part : {"system", "value"}) {
    if (identifier->string_at(part).empty()) {
      report.error("required", *identifier,
                   "The identifier of " + std::string(whose) + " needs both system and value: '" +
                       std::string(part) + "' is missing.");
    }
  }
}

// Here identifiers are compared sign by sign; many record servers cut white space off their ends,
// so that two patients here would be one there. A line break inside stands in no list of one a
// line.
void exact_identifier(const Node* identifier, std::string_view whose, Report& report) {
  if (identifier == nullptr || !identifier->is_object()) {
    return;
  }
  for (const std::string_view part : {"system", "value"}) {
    const std::string_view text = identifier->string_at(part);
    if (!text.empty() && (text.front() == ' ' || text.back() == ' ' ||
                          text.find_first_of("\t\n\r") != std::string_view::npos)) {
      report.error("value", *identifier->find(part),
                   "The identifier of " + std::string(whose) +
                       " has a space at an end, or a tab "
                       "or line break in it: send it without.");
    }
  }
}

// Not asked of a session that is taken back: it stays under the name that it has.
void exact_identifiers(const Node& session, Report& report) {
  exact_identifier(session.find("identifier"), "the session", report);
  for (const auto& [person, whose] :
       {std::pair{"patient", "the patient"}, std::pair{"therapist", "the therapist"}}) {
    if (const Node* found = session.find(person)) {
      exact_identifier(found->find("identifier"), whose, report);
      exact_identifier(found->find("encounter"), "the stay", report);
    }
  }
}

void period(const Node& session, Report& report) {
  const Node* period = session.find("period");
  if (period == nullptr || !period->is_object()) {
    return;
  }
  const std::string_view start = period->string_at("start");
  const std::string_view end = period->string_at("end");
  const auto from = parse_moment(start);
  const auto to = parse_moment(end);
  if (!from || !from->has_time) {
    report.error("required", *period, "The session needs a start with time and offset.");
  }
  if (session.string_at("status") == "closed" && end.empty()) {
    report.error("required", *period, "A closed session needs an end: add period.end.");
  }
  if (!end.empty() && to && !to->has_time) {
    report.error("value", *period, "The end of the session needs a time with offset.");
  }
  if (from && to && *to < *from) {
    report.error("value", *period, "The session ends before it starts: correct one of the times.");
  }
}

void order(const Node& order, Report& report) {
  if (const Node* scale = order.find("news2Scale")) {
    const Node* number = scale->find("scale");
    if (number != nullptr && number->text() != "1" && number->text() != "2") {
      report.error("value", *number, "NEWS2 has scale 1 and scale 2.");
    } else if (number != nullptr && number->text() == "2" && scale->string_at("chosenBy").empty()) {
      report.error("required", *scale,
                   "Scale 2 is a prescriber's documented choice: add chosenBy.");
    }
  }
  const Node* target = order.find("saturationTarget");
  const Node* high = target != nullptr ? target->find("high") : nullptr;
  const Node* low = target != nullptr ? target->find("low") : nullptr;
  const Node* high_value = high != nullptr ? high->find("value") : nullptr;
  const Node* low_value = low != nullptr ? low->find("value") : nullptr;
  if (high_value != nullptr && low_value != nullptr) {
    const auto a = base::Decimal::parse(low_value->text());
    const auto b = base::Decimal::parse(high_value->text());
    if (a && b && *b < *a) {
      report.error("value", *target, "The upper end of the range lies under the lower one.");
    }
  }
}

using Ids = std::unordered_set<std::string_view>;

void known_entry(const Node* reference, const Ids& ids, Report& report) {
  if (reference != nullptr && reference->is_string() && ids.count(reference->text()) == 0) {
    report.error("not-found", *reference,
                 "There is no entry with this id in the session: correct the id or add the entry.");
  }
}

void references(const Node& session, const Ids& ids, Report& report) {
  if (const Node* entries = session.find("entry")) {
    for (const Node& entry : *entries) {
      known_entry(entry.find("during"), ids, report);
      if (const Node* stopped = entry.find("stopped")) {
        known_entry(stopped->find("activity"), ids, report);
      }
    }
  }
  if (const Node* attestations = session.find("attestation")) {
    for (const Node& attestation : *attestations) {
      const Node* list = attestation.find("entry");
      for (const Node* id = list != nullptr ? list->first : nullptr; id != nullptr; id = id->next) {
        known_entry(id, ids, report);
      }
      const Node* by = attestation.find("by");
      const std::string_view role = by != nullptr ? by->string_at("role") : std::string_view();
      if (by != nullptr && role != "therapist" && role != "physician") {
        report.error("business-rule", *by, "Only a licensed person attests: role therapist.");
      }
      const Node* period = session.find("period");
      const auto begin = parse_moment(period != nullptr ? period->string_at("start") : "");
      const auto when = parse_moment(attestation.string_at("time"));
      if (begin && when && *when < *begin) {
        report.hold("contradiction", attestation,
                    "This attestation is older than the session that it stands for.",
                    "contradiction");
      }
    }
  }
  if (const Node* withdrawals = session.find("withdrawal")) {
    for (const Node& withdrawal : *withdrawals) {
      const Node* id = withdrawal.find("entry");
      if (id != nullptr && id->is_string() && ids.count(id->text()) != 0) {
        report.error("conflict", *id,
                     "This entry is withdrawn and sent at once: leave it out of entry, or do not "
                     "withdraw it.");
      }
    }
  }
}

}  // namespace

void check_header(const Node& session, Report& report) {
  whole_identifier(session.find("identifier"), "the session", report);
  if (const Node* patient = session.find("patient")) {
    whole_identifier(patient->find("identifier"), "the patient", report);
    if (const Node* stay = patient->find("encounter")) {
      whole_identifier(stay, "the stay", report);
    }
  }
  const Node* therapist = session.find("therapist");
  if (therapist != nullptr && therapist->is_object()) {
    if (therapist->find("discipline") == nullptr) {
      report.error("required", *therapist,
                   "The session's therapist needs a discipline: OT, PT or RT.");
    }
    if (const Node* identifier = therapist->find("identifier")) {
      whole_identifier(identifier, "the therapist", report);
    }
  }
  period(session, report);
}

void check_frame(const Node& session, Report& report) {
  check_header(session, report);
  exact_identifiers(session, report);
  if (const Node* in_force = session.find("order")) {
    order(*in_force, report);
  }
  Ids ids;
  if (const Node* entries = session.find("entry")) {
    for (const Node& entry : *entries) {
      const Node* id = entry.find("id");
      if (id != nullptr && id->is_string() && !ids.insert(id->text()).second) {
        report.error("duplicate", *id,
                     "Two entries have this id: every entry needs its own, for ever.");
      }
    }
  }
  references(session, ids, report);
}

}  // namespace engine::therapy
