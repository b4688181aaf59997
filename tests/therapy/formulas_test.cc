// Worked examples of the published formulas. Each row names its source.

#include "engine/therapy/formulas.h"

#include <string>

#include <gtest/gtest.h>

#include "engine/therapy/transcendental.h"

namespace engine::therapy {
namespace {

using base::Decimal;

Decimal d(std::string_view text) {
  return Decimal::parse(text).value();
}
std::string text(const std::optional<Decimal>& value) {
  return value ? value->to_string() : "none";
}

// Teaching tables quoted in several texts: 0.20 + 0.04 x flow from 1 to 6 L/min.
TEST(Formulas, CannulaFractionFollowsTheTeachingTable) {
  const struct {
    const char* flow;
    const char* fraction;
  } rows[] = {{"1", "0.24"}, {"2", "0.28"}, {"3", "0.32"},
              {"4", "0.36"}, {"5", "0.40"}, {"6", "0.44"}};
  for (const auto& row : rows) {
    const auto fraction = inspired_fraction("nasal-cannula", d(row.flow), {});
    ASSERT_TRUE(fraction) << row.flow;
    EXPECT_EQ(text(fraction->point), row.fraction);
    EXPECT_TRUE(fraction->estimated);
  }
}

TEST(Formulas, NoFractionWhereTheTableEnds) {
  EXPECT_FALSE(inspired_fraction("nasal-cannula", d("7"), {}));
  EXPECT_FALSE(inspired_fraction("nasal-cannula", d("0.5"), {}));
  EXPECT_FALSE(inspired_fraction("nasal-cannula", {}, {}));
  EXPECT_FALSE(inspired_fraction("simple-mask", d("4"), {}));
}

TEST(Formulas, HighFlowAndVenturiNeverDeriveTheFractionFromTheFlow) {
  EXPECT_FALSE(inspired_fraction("high-flow-cannula", d("40"), {}));
  EXPECT_FALSE(inspired_fraction("venturi-mask", d("8"), {}));
  const auto set = inspired_fraction("high-flow-cannula", d("40"), d("60"));
  ASSERT_TRUE(set);
  EXPECT_EQ(*set->point, d("0.6"));
  EXPECT_FALSE(set->estimated);
}

TEST(Formulas, MasksGiveARangeOnly) {
  const auto mask = inspired_fraction("reservoir-mask", d("12"), {});
  ASSERT_TRUE(mask);
  EXPECT_FALSE(mask->point);
  EXPECT_EQ(text(mask->low), "0.60");
  EXPECT_EQ(text(mask->high), "0.90");
}

// Rice et al., Chest 2007;132:410: S/F at 97 % or less; P/F = (S/F - 64) / 0.84.
TEST(Formulas, SaturationFractionRatio) {
  EXPECT_EQ(text(saturation_fraction_ratio(d("92"), d("0.28"))), "328.6");
  EXPECT_EQ(text(saturation_fraction_ratio(d("92"), d("0.36"))), "255.6");
  EXPECT_EQ(text(estimated_pf_ratio(d("255.6"))), "228");
  EXPECT_NE(text(saturation_fraction_ratio(d("97"), d("0.21"))), "none");
  EXPECT_EQ(text(saturation_fraction_ratio(d("98"), d("0.21"))), "none");
}

// Roca et al., Am J Respir Crit Care Med 2019;199:1368.
TEST(Formulas, RoxIndex) {
  EXPECT_EQ(text(rox_index(d("92"), d("0.60"), d("28"))), "5.48");
  EXPECT_EQ(text(rox_index(d("92"), d("0.60"), d("0"))), "none");
}

// Many texts; Tanaka 2001 for the second.
TEST(Formulas, AgePredictedHeartRate) {
  EXPECT_EQ(text(predicted_heart_rate("220-age", 60)), "160");
  EXPECT_EQ(predicted_heart_rate("208-0.7*age", 60), d("166"));
  EXPECT_EQ(text(percent_of(d("118"), d("160"))), "73.8");
  EXPECT_EQ(text(percent_of(d("118"), d("166"))), "71.1");
  EXPECT_FALSE(predicted_heart_rate("", 60));
}

// Enright and Sherrill 1998, as tabulated in Eur Respir J 2014;44.
TEST(Formulas, PredictedWalkDistance) {
  EXPECT_EQ(text(predicted_walk(true, 60, d("175"), d("80"))), "573.8");
  EXPECT_EQ(text(predicted_walk(false, 70, d("160"), d("65"))), "451.2");
  EXPECT_FALSE(predicted_walk(true, 39, d("175"), d("80")));
  EXPECT_FALSE(predicted_walk(true, 81, d("175"), d("80")));
}

// ECSC 1993 (Quanjer et al., Eur Respir J 1993;6 Suppl 16:5-40): 8.32 L/s = 499 L/min, 5.59 L/s.
TEST(Formulas, PredictedPeakFlow) {
  EXPECT_EQ(text(predicted_peak_flow(true, 60, d("175"))), "499");
  EXPECT_EQ(text(predicted_peak_flow(false, 70, d("160"))), "335");
  EXPECT_EQ(text(predicted_peak_flow(true, 18, d("175"))),
            text(predicted_peak_flow(true, 25, d("175"))));
  EXPECT_FALSE(predicted_peak_flow(true, 17, d("175")));
  EXPECT_FALSE(predicted_peak_flow(true, 71, d("175")));
  EXPECT_FALSE(predicted_peak_flow(true, 60, d("196")));
  EXPECT_FALSE(predicted_peak_flow(false, 60, d("144")));
}

// GLI 2021, Hall et al., Eur Respir J 2021;57:2000289.
TEST(Formulas, PredictedInspiratoryCapacity) {
  const auto man = predicted_inspiratory_capacity(true, 60, d("175"));
  ASSERT_TRUE(man);
  EXPECT_EQ(man->predicted.to_string(), "3.54");
  EXPECT_EQ(man->lower_limit.to_string(), "2.49");
  const auto woman = predicted_inspiratory_capacity(false, 70, d("160"));
  ASSERT_TRUE(woman);
  EXPECT_EQ(woman->predicted.to_string(), "2.15");
  EXPECT_EQ(woman->lower_limit.to_string(), "1.43");
  EXPECT_EQ(text(percent_of(d("2000"), d("3542"))), "56.5");
  EXPECT_FALSE(predicted_inspiratory_capacity(true, 81, d("175")));
  EXPECT_FALSE(predicted_inspiratory_capacity(true, 19, d("175")));
  EXPECT_FALSE(predicted_inspiratory_capacity(true, 60, d("0")));
}

// Medicare Claims Processing Manual, chapter 5, section 20.2.
TEST(Formulas, TimedUnits) {
  const struct {
    int minutes;
    int units;
  } rows[] = {{7, 0},  {8, 1},  {22, 1}, {23, 2}, {37, 2}, {38, 3}, {40, 3},
              {52, 3}, {53, 4}, {67, 4}, {68, 5}, {82, 5}, {83, 6}, {97, 6}};
  for (const auto& row : rows) {
    EXPECT_EQ(timed_units(row.minutes), row.units) << row.minutes;
  }
}

News2Reading patient() {
  return {d("22"), d("93"), true, d("108"), d("104"), true, d("38.2")};
}

// Royal College of Physicians, NEWS2 2017, chart 1.
TEST(Formulas, News2OfTheWorkedExample) {
  const News2Score one = news2(patient(), 1);
  EXPECT_EQ(one.respiration, 2);
  EXPECT_EQ(one.saturation, 2);
  EXPECT_EQ(one.oxygen, 2);
  EXPECT_EQ(one.systolic, 1);
  EXPECT_EQ(one.pulse, 1);
  EXPECT_EQ(one.consciousness, 0);
  EXPECT_EQ(one.temperature, 1);
  EXPECT_EQ(one.total(), 9);
  const News2Score two = news2(patient(), 2);
  EXPECT_EQ(two.saturation, 1);
  EXPECT_EQ(two.total(), 8);
}

TEST(Formulas, News2ScaleTwoScoresHighSaturationOnOxygenOnly) {
  News2Reading reading = patient();
  reading.saturation = d("97");
  EXPECT_EQ(news2(reading, 2).saturation, 3);
  reading.on_oxygen = false;
  EXPECT_EQ(news2(reading, 2).saturation, 0);
}

TEST(Formulas, News2BandsAtTheirEdges) {
  const struct {
    const char* what;
    const char* value;
    int score;
  } rows[] = {
      {"rate", "8", 3},    {"rate", "9", 1},    {"rate", "11", 1},   {"rate", "12", 0},
      {"rate", "20", 0},   {"rate", "21", 2},   {"rate", "24", 2},   {"rate", "25", 3},
      {"one", "91", 3},    {"one", "92", 2},    {"one", "94", 1},    {"one", "96", 0},
      {"two", "83", 3},    {"two", "84", 2},    {"two", "86", 1},    {"two", "88", 0},
      {"two", "92", 0},    {"two", "93", 1},    {"two", "95", 2},    {"two", "97", 3},
      {"sys", "90", 3},    {"sys", "91", 2},    {"sys", "101", 1},   {"sys", "111", 0},
      {"sys", "219", 0},   {"sys", "220", 3},   {"pulse", "40", 3},  {"pulse", "41", 1},
      {"pulse", "51", 0},  {"pulse", "91", 1},  {"pulse", "111", 2}, {"pulse", "131", 3},
      {"temp", "35.0", 3}, {"temp", "35.1", 1}, {"temp", "36.1", 0}, {"temp", "38.0", 0},
      {"temp", "38.1", 1}, {"temp", "39.0", 1}, {"temp", "39.1", 2},
  };
  for (const auto& row : rows) {
    News2Reading reading = patient();
    const std::string what = row.what;
    int got = -1;
    if (what == "rate") {
      reading.breathing_rate = d(row.value);
      got = news2(reading, 1).respiration;
    } else if (what == "one" || what == "two") {
      reading.saturation = d(row.value);
      got = news2(reading, what == "one" ? 1 : 2).saturation;
    } else if (what == "sys") {
      reading.systolic = d(row.value);
      got = news2(reading, 1).systolic;
    } else if (what == "pulse") {
      reading.pulse = d(row.value);
      got = news2(reading, 1).pulse;
    } else {
      reading.temperature = d(row.value);
      got = news2(reading, 1).temperature;
    }
    EXPECT_EQ(got, row.score) << row.what << " " << row.value;
  }
}

// ln 10 and e to 20 digits: from memory, as any table of constants has them.
TEST(Formulas, LogarithmAndExponentialAreExactToTwentyDigits) {
  EXPECT_EQ(text(natural_log(d("10"))), "2.30258509299404568402");
  EXPECT_EQ(text(exponential(d("1"))), "2.71828182845904523536");
  EXPECT_EQ(*natural_log(d("1")), d("0"));
  EXPECT_FALSE(natural_log(d("0")));
  EXPECT_FALSE(natural_log(d("-1")));
  EXPECT_FALSE(exponential(d("41")));
}

}  // namespace
}  // namespace engine::therapy
