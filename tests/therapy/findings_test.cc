// Findings over time, worked by hand: desaturation events, time under the ordered limit, adherence.
// The rules are stated in docs/findings.md; where a source gives an example it is named.

#include <string>
#include <string_view>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "tests/therapy/house.h"

namespace engine::therapy {
namespace {

using testing::replaced;
using testing::sample;
using testing::translate_one;

// "value; part=value part=text ..." of each finding of a code, separated by " | ".
std::string found(const Translation& translation, std::string_view code) {
  static const json::NameTable names;
  json::Document document(names);
  EXPECT_TRUE(document.parse(translation.findings)) << translation.findings;
  std::string out;
  for (const json::Node& finding : *document.root()) {
    if (finding.string_at("code") != code) {
      continue;
    }
    out += out.empty() ? "" : " | ";
    const json::Node* value = finding.find("value");
    out += value == nullptr ? "-" : std::string(value->find("value")->text());
    const json::Node* parts = finding.find("part");
    for (const json::Node* part = parts == nullptr ? nullptr : parts->first; part != nullptr;
         part = part->next) {
      const json::Node* quantity = part->find("value");
      out += " " + std::string(part->string_at("code")) + "=" +
             (quantity == nullptr ? "-" : std::string(quantity->find("value")->text()));
    }
  }
  return out;
}

// A reading at rest of `rest` %, then a series of an oximeter. The order: 92 to 96 %, an event is a
// fall of 4 points from rest or under 88 %.
Translation series(const std::string& rest, const std::string& period_ms,
                   const std::string& readings) {
  std::string body = sample("oximetry-series");
  body = replaced(body, "\"saturation\": { \"value\": 95,",
                  "\"saturation\": { \"value\": " + rest + ",");
  body = replaced(body, "95 94 92 91 90 89 89 90 91 93 94 95 95", readings);
  body = replaced(body, "\"period\": 10000", "\"period\": " + period_ms);
  return translate_one(body);
}

TEST(Findings, AnEventEndsWithinOnePointOfRest) {
  // 90 from 10 s, 94 at 30 s: 20 s; again from 60 s to 80 s, down to 89.
  const Translation twice = series("95", "10000", "95 90 90 94 95 95 90 89 94 95");
  EXPECT_EQ(found(twice, "desaturation-event"),
            "5 rest=95 nadir=90 oxygen=- duration=20 | 6 rest=95 nadir=89 oxygen=- duration=20");
  // Under 92 %: two readings of ten seconds each time.
  EXPECT_EQ(found(twice, "time-under-limit"), "40");
}

TEST(Findings, AFallOfThreePointsIsNoEventUnlessItGoesUnderTheLimit) {
  EXPECT_EQ(found(series("95", "10000", "95 92 92 95"), "desaturation-event"), "");
  EXPECT_EQ(found(series("90", "10000", "90 87 90"), "desaturation-event"),
            "3 rest=90 nadir=87 oxygen=- duration=10");
}

TEST(Findings, OnTheLimitIsNotUnderIt) {
  EXPECT_EQ(found(series("95", "10000", "95 92 92 95"), "time-under-limit"), "");
  EXPECT_EQ(found(series("95", "10000", "95 92 91 92 95"), "time-under-limit"), "10");
}

TEST(Findings, DurationsNeedReadingsAtMostThirtySecondsApart) {
  EXPECT_EQ(found(series("95", "30000", "95 90 90 94 95"), "desaturation-event"),
            "5 rest=95 nadir=90 oxygen=- duration=60");
  EXPECT_EQ(found(series("95", "31000", "95 90 90 94 95"), "desaturation-event"),
            "5 rest=95 nadir=90 oxygen=- duration=-");
  EXPECT_EQ(found(series("95", "31000", "95 90 90 94 95"), "time-under-limit"), "-");
}

// A day of breathing exercise, 07:00 to 23:00, ten breaths an hour ordered: `breaths` by hour.
Translation day_of(std::initializer_list<int> breaths) {
  std::string entries;
  int hour = 7;
  for (const int count : breaths) {
    const std::string clock = (hour < 10 ? "0" : "") + std::to_string(hour);
    ++hour;
    if (count == 0) {
      continue;
    }
    entries += (entries.empty() ? "" : ",") + std::string("{\"id\":\"h") + clock +
               "\",\"period\":{\"start\":\"2026-03-02T" + clock +
               ":10:00+01:00\",\"end\":\"2026-03-02T" + clock +
               ":20:00+01:00\"},\"breathingExerciser\":{\"repetition\":[";
    for (int i = 0; i < count; ++i) {
      entries += (i == 0 ? "" : ",") + std::string("{\"volume\":{\"value\":1250,\"unit\":\"mL\"}}");
    }
    entries += "]}}";
  }
  std::string body = sample("breathing-exerciser");
  body = replaced(body, "\"start\": \"2026-03-02T09:00:00+01:00\"",
                  "\"start\": \"2026-03-02T07:00:00+01:00\"");
  body = replaced(body, "\"end\": \"2026-03-02T09:40:00+01:00\"",
                  "\"end\": \"2026-03-02T23:00:00+01:00\"");
  const std::size_t list = body.find("\"entry\": [");
  EXPECT_NE(list, std::string::npos);
  return translate_one(body.substr(0, list) + "\"entry\": [" + entries + "] }",
                       "2026-03-02T22:05:00.000Z");
}

TEST(Findings, AdherenceOfTheWorkedDay) {
  // Sixteen waking hours of ten breaths: 160 ordered. Ten full hours, and 5 + 5 + 2 breaths: 112 of
  // 160 is 70 %, the worked example of the rule; three hours without a record.
  const Translation day = day_of({10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 5, 5, 2, 0, 0, 0});
  EXPECT_EQ(found(day, "adherence"),
            "70.0 ordered=160 done=112 hours-met=10 hours-waking=16 hours-unrecorded=3");
}

TEST(Findings, BreathsBeyondTheOrderPayForNoOtherHour) {
  const Translation day = day_of({30, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 10});
  EXPECT_EQ(found(day, "adherence"),
            "12.5 ordered=160 done=20 hours-met=2 hours-waking=16 hours-unrecorded=14");
}

TEST(Findings, ASetWhoseBestVolumeAloneWasReadHasNoMean) {
  const Translation day = translate_one(sample("patient-reported"));
  EXPECT_EQ(found(day, "best-inspired-volume"), "1400");
  EXPECT_EQ(found(day, "mean-inspired-volume"), "");
  // 10 and 10 breaths in two of the four waking hours begun, of ten an hour: 20 of 40.
  EXPECT_EQ(found(day, "adherence"),
            "50.0 ordered=40 done=20 hours-met=2 hours-waking=4 hours-unrecorded=2");
}

}  // namespace
}  // namespace engine::therapy
