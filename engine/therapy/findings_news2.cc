// NEWS2 of an entry that has every parameter, on the scale that the order names. A missing
// parameter means no total, not zero. For people of 16 and over, not in pregnancy.

#include "engine/therapy/finding_writer.h"
#include "engine/therapy/formulas.h"
#include "engine/therapy/readings.h"
#include "engine/therapy/steps.h"

namespace engine::therapy {
namespace {

using base::Decimal;
using json::Node;

std::optional<News2Reading> reading_of(const Node& vitals) {
  const auto rate = value_in(vitals.find("breathingRate"), "/min");
  const auto saturation = value_in(vitals.find("saturation"), "%");
  const auto systolic = value_in(vitals.find("systolic"), "mm[Hg]");
  const auto pulse = value_in(vitals.find("pulse"), "/min");
  const auto temperature = value_in(vitals.find("temperature"), "Cel");
  const std::string_view consciousness = vitals.string_at("consciousness");
  const Node* oxygen = vitals.find("oxygen");
  if (!rate || !saturation || !systolic || !pulse || !temperature || consciousness.empty() ||
      oxygen == nullptr) {
    return std::nullopt;
  }
  const bool on_oxygen = oxygen->string_at("device") != "room-air";
  return News2Reading{*rate,  *saturation,          on_oxygen,   *systolic,
                      *pulse, consciousness == "A", *temperature};
}

Finding::Part score_part(std::string_view code, int score) {
  return {code, {}, score, {}, {}};
}

}  // namespace

void add_news2_findings(FindingWriter& writer, const Readings& readings) {
  const Node& session = writer.session();
  const Node* order = session.find("order");
  const Node* choice = order != nullptr ? order->find("news2Scale") : nullptr;
  const Node* number = choice != nullptr ? choice->find("scale") : nullptr;
  const Node* patient = session.find("patient");
  const Node* pregnant = step(patient, {"pregnant"});
  if (number == nullptr || (pregnant != nullptr && pregnant->boolean)) {
    return;
  }
  constexpr int kAdultYears = 16;
  const int scale = number->text() == "2" ? 2 : 1;
  for (const Node* entry : readings.entries) {
    const Node* vitals = entry->find("vitals");
    const auto reading = vitals != nullptr ? reading_of(*vitals) : std::nullopt;
    const auto at = start_of(*entry);
    const auto age = at ? age_at(step_text(patient, {"birthDate"}), *at) : std::nullopt;
    if (!reading || !age || *age < kAdultYears) {
      continue;
    }
    const News2Score score = news2(*reading, scale);
    const std::string_view id = entry->string_at("id");
    Finding finding;
    finding.code = finding.role = "news2-total";
    finding.entry = entry;
    finding.method = "NEWS2, Royal College of Physicians 2017, saturation scale " +
                     std::to_string(scale) + ", v1";
    finding.final = is_final(*entry);
    finding.from = {{id, "breathing-rate"}, {id, "saturation"},    {id, "blood-pressure"},
                    {id, "pulse"},          {id, "consciousness"}, {id, "temperature"}};
    finding.integer = score.total();
    finding.parts = {score_part("respiration", score.respiration),
                     score_part("saturation-score", score.saturation),
                     score_part("oxygen-score", score.oxygen),
                     score_part("systolic-score", score.systolic),
                     score_part("pulse-score", score.pulse),
                     score_part("consciousness-score", score.consciousness),
                     score_part("temperature-score", score.temperature),
                     score_part("scale", scale)};
    writer.add(finding);
  }
}

}  // namespace engine::therapy
