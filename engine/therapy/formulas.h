#pragma once
// The formulas behind the findings, as pure functions of exact decimals. Each names its source; the
// worked examples of the tests come from there. Nothing here knows a session document.

#include <array>
#include <optional>
#include <string_view>

#include "engine/base/decimal.h"

namespace engine::therapy {

// An inspired oxygen fraction (0.21 to 1.0), or a range where only a range is honest.
struct Fraction {
  std::optional<base::Decimal> point;
  std::optional<base::Decimal> low;
  std::optional<base::Decimal> high;
  bool estimated = true;  // false: set at the device, or room air
  std::string_view method;
};
// flow in L/min, set_percent as set at the device. Room air 0.21; nasal cannula 1 to 6 L/min
// 0.20 + 0.04 x flow; simple mask 5 to 10 L/min 0.35 to 0.60; reservoir mask 10 to 15 L/min 0.60 to
// 0.90; Venturi mask and heated high flow only as set, never from the flow. nullopt: no estimate.
// Source: teaching tables quoted in several texts.
std::optional<Fraction> inspired_fraction(std::string_view device,
                                          const std::optional<base::Decimal>& flow,
                                          const std::optional<base::Decimal>& set_percent);

// Saturation (%) / inspired fraction, to one digit. nullopt above 97 %, where the relation does not
// hold. Source: Rice et al., Chest 2007;132:410.
std::optional<base::Decimal> saturation_fraction_ratio(const base::Decimal& saturation,
                                                       const base::Decimal& fraction);
// The P/F ratio that the same study's line gives, to a whole number. For display only.
std::optional<base::Decimal> estimated_pf_ratio(const base::Decimal& sf_ratio);

// (SpO2 % / fraction) / breathing rate, to two digits. Source: Roca et al., AJRCCM 2019;199:1368;
// for heated high flow only.
std::optional<base::Decimal> rox_index(const base::Decimal& saturation,
                                       const base::Decimal& fraction,
                                       const base::Decimal& breathing_rate);

// part / whole x 100, to one digit; nullopt for a whole of zero.
std::optional<base::Decimal> percent_of(const base::Decimal& part, const base::Decimal& whole);

// Age-predicted maximum heart rate: "220-age" or "208-0.7*age" (Tanaka 2001).
std::optional<base::Decimal> predicted_heart_rate(std::string_view formula, int age);

// Predicted six-minute walk distance in metres, to one digit. Derived in people of 40 to 80 years;
// nullopt outside. Source: Enright and Sherrill 1998.
std::optional<base::Decimal> predicted_walk(bool male, int age, const base::Decimal& height_cm,
                                            const base::Decimal& weight_kg);

// Predicted peak expiratory flow in L/min, to a whole number. nullopt outside 18 to 70 years, 155
// to 195 cm (men) or 145 to 180 cm (women); under 25 years counts as 25. Source: European Community
// for Steel and Coal 1993; Quanjer et al., Eur Respir J 1993;6 Suppl 16:5-40.
std::optional<base::Decimal> predicted_peak_flow(bool male, int age,
                                                 const base::Decimal& height_cm);

struct PredictedVolume {
  base::Decimal predicted;    // litres, two digits
  base::Decimal lower_limit;  // litres, two digits
};
// Inspiratory capacity by GLI 2021 static lung volumes. European ancestry; this table covers 20 to
// 80 years, nullopt outside. Source: Hall et al., Eur Respir J 2021;57:2000289, with linear
// interpolation between five-year rows of the spline.
std::optional<PredictedVolume> predicted_inspiratory_capacity(bool male, int age,
                                                              const base::Decimal& height_cm);

// Timed 15-minute units of all timed minutes of a day: none under 8 minutes, else
// floor((minutes + 7) / 15). Shown and exported only. Source: Medicare Claims Processing Manual,
// chapter 5, section 20.2.
int timed_units(int minutes);

// --- NEWS2 (Royal College of Physicians, 2017, chart 1). For adults; whole score only when all
// parameters are there.
struct News2Reading {
  base::Decimal breathing_rate;  // /min
  base::Decimal saturation;      // %
  bool on_oxygen = false;
  base::Decimal systolic;  // mm[Hg]
  base::Decimal pulse;     // /min
  bool alert = true;
  base::Decimal temperature;  // Cel; compared in tenths
};
struct News2Score {
  int respiration = 0;
  int saturation = 0;
  int oxygen = 0;
  int systolic = 0;
  int pulse = 0;
  int consciousness = 0;
  int temperature = 0;
  int total() const {
    return respiration + saturation + oxygen + systolic + pulse + consciousness + temperature;
  }
};
// scale: 1, or 2 by a prescriber's choice.
News2Score news2(const News2Reading& reading, int scale);

}  // namespace engine::therapy
