// The session document that a patient's sheet becomes.
#include "engine/web/sheet_document.h"

#include <string>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "engine/web/sheet_limits.h"

namespace engine::web {
namespace {

constexpr const char* kFrame =
    R"({"identifier":{"system":"s","value":"v"},"expires":"2027-01-16T08:00:00.000Z",)"
    R"("patient":{"identifier":{"system":"p","value":"1"}},)"
    R"("therapist":{"display":"Robin","discipline":"RT","role":"therapist"}})";
constexpr const char* kNow = "2027-01-15T12:00:00.000Z";

base::Result<SheetReport> report_of(const std::string& body) {
  static const json::NameTable names;
  json::Document document(names);
  EXPECT_TRUE(document.parse(body).has_value()) << body;
  return read_report(*document.root());
}

std::string set(const std::string& id, const std::string& time, const std::string& rest) {
  return R"({"id":")" + id + R"(","time":")" + time + R"(","set":{)" + rest + "}}";
}

std::string next(const std::string& latest, const std::string& body) {
  const auto report = report_of(body);
  EXPECT_TRUE(report.has_value()) << body;
  const auto made = next_document(kFrame, latest, *report, kNow);
  return made ? made->text : std::string(base::name_of(made.error().code));
}

const std::string kSet = set("e-1", "2027-01-15T10:00:00+01:00", R"("breaths":10,"best":1500)");
const std::string kFirst = next("", "{\"entries\":[" + kSet + "]}");

TEST(SheetDocument, MarksWhatThePatientReports) {
  EXPECT_EQ(
      kFirst,
      R"({"resourceType":"TherapySession","identifier":{"system":"s","value":"v"},)"
      R"("patient":{"identifier":{"system":"p","value":"1"}},)"
      R"("therapist":{"display":"Robin","discipline":"RT","role":"therapist"},"revision":1,)"
      R"("status":"closed","period":{"start":"2027-01-15T10:00:00+01:00","end":)"
      R"("2027-01-15T10:00:00+01:00"},"entry":[{"id":"e-1","time":"2027-01-15T10:00:00+01:00",)"
      R"("recordedBy":{"display":"The patient","role":"patient"},"breathingExerciser":)"
      R"({"repetition":[{"volume":{"value":1500,"unit":"mL"}}],"breaths":10}}]})");
}

TEST(SheetDocument, AddsToWhatIsThereAndKeepsWhatOthersPutInIt) {
  std::string latest = kFirst;
  latest.insert(latest.size() - 1, R"(,"attestation":[{"by":{"display":"R"},"entry":["e-1"]}])");
  const std::string made = next(
      latest,
      R"({"entries":[{"id":"e-2","time":"2027-01-15T11:05:00+01:00","reading":{"saturation":95.50}}]})");
  EXPECT_NE(made.find(R"("revision":2)"), std::string::npos) << made;
  EXPECT_NE(made.find(R"("end":"2027-01-15T11:05:00+01:00")"), std::string::npos) << made;
  EXPECT_NE(made.find(R"("attestation":[{"by":{"display":"R"},"entry":["e-1"]}])"),
            std::string::npos);
  EXPECT_NE(made.find(R"("id":"e-1")"), std::string::npos);
  EXPECT_EQ(made.find("pulse"), std::string::npos);
}

TEST(SheetDocument, NumbersKeepTheirDigits) {
  const std::string made = next(
      "",
      R"({"entries":[{"id":"a","time":"2027-01-15T11:05:00Z","reading":{"saturation":95.0,"pulse":80}}]})");
  EXPECT_NE(made.find(R"("vitals":{"saturation":{"value":95.0,"unit":"%"},"pulse":)"
                      R"({"value":80,"unit":"/min"},"pulseSource":"oximeter"})"),
            std::string::npos)
      << made;
}

TEST(SheetDocument, TheSameAgainIsNothingNew) {
  EXPECT_EQ(next(kFirst, "{\"entries\":[" + kSet + "]}"), "");
  EXPECT_EQ(next(kFirst, R"({"takenBack":["never-sent"]})"), "");
  // Also with another value: what was reported first stands, and a therapist corrects it.
  EXPECT_EQ(next(kFirst, "{\"entries\":[" +
                             set("e-1", "2027-01-15T10:00:00+01:00", R"("breaths":3)") + "]}"),
            "");
}

TEST(SheetDocument, WhatIsTakenBackIsWithdrawnAndDoesNotComeAgain) {
  const std::string made = next(kFirst, R"({"takenBack":["e-1"]})");
  EXPECT_NE(made.find(R"("withdrawal":[{"entry":"e-1","reason":"Taken back by the patient"}])"),
            std::string::npos)
      << made;
  EXPECT_EQ(made.find("\"entry\":["), std::string::npos) << made;
  EXPECT_EQ(next(made, "{\"entries\":[" + kSet + "]}"), "");
}

TEST(SheetDocument, WhatATherapistAttestedOrRecordedIsNotTakenBack) {
  std::string attested = kFirst;
  attested.insert(attested.size() - 1, R"(,"attestation":[{"entry":["e-1"]}])");
  EXPECT_EQ(next(attested, R"({"takenBack":["e-1"]})"), base::name_of(base::ErrorCode::kConflict));
  std::string whole = kFirst;
  whole.insert(whole.size() - 1, R"(,"attestation":[{"by":{"display":"R"}}])");
  EXPECT_EQ(next(whole, R"({"takenBack":["e-1"]})"), base::name_of(base::ErrorCode::kConflict));
  std::string theirs = kFirst;
  theirs.replace(theirs.find(R"("role":"patient")"), 16, R"("role":"therapist")");
  EXPECT_EQ(next(theirs, R"({"takenBack":["e-1"]})"), "");
}

TEST(SheetDocument, HoldsAtMostSoMany) {
  std::string latest = kFirst;
  std::string more;
  for (std::size_t i = 1; i < base::limits::kSheetEntriesMax - 1; ++i) {
    more += R"(,{"id":"m-)" + std::to_string(i) + "\"}";
  }
  latest.insert(latest.size() - 2, more);
  const std::string last = set("e-2", "2027-01-15T10:00:00+01:00", R"("breaths":10)");
  const std::string over = set("e-3", "2027-01-15T10:00:00+01:00", R"("breaths":10)");
  EXPECT_NE(next(latest, "{\"entries\":[" + last + "]}").find("e-2"), std::string::npos);
  EXPECT_EQ(next(latest, "{\"entries\":[" + last + "," + over + "]}"),
            base::name_of(base::ErrorCode::kLimit));
}

TEST(SheetDocument, RefusesWhatIsNoReport) {
  const std::string at = "2027-01-15T10:00:00+01:00";
  const std::string many = [&] {
    std::string out = set("x", at, R"("breaths":1)");
    for (std::size_t i = 0; i < base::limits::kSheetEntriesAtOnceMax; ++i) {
      out += "," + set("y" + std::to_string(i), at, R"("breaths":1)");
    }
    return out;
  }();
  const std::string reading = R"({"id":"a","time":")" + at + R"(","reading":{)";
  for (const std::string& entries : {std::string("1"),
                                     set("", at, R"("breaths":1)"),
                                     set("a b", at, R"("breaths":1)"),
                                     set("a", "2027-01-15", R"("breaths":1)"),
                                     set("a", "10:00", R"("breaths":1)"),
                                     set("a", "2027-02-30T10:00:00Z", R"("breaths":1)"),
                                     set("a", at, ""),
                                     set("a", at, R"("breaths":"ten")"),
                                     set("a", at, R"("breaths":-1)"),
                                     set("a", at, R"("breaths":1.5)"),
                                     set("a", at, R"("breaths":1000)"),
                                     set("a", at, R"("breaths":1e2)"),
                                     set("a", at, R"("breaths":1,"best":100000)"),
                                     set("a", at, R"("breaths":1,"best":{"value":1})"),
                                     reading + "}}",
                                     reading + R"("saturation":"95"}})",
                                     reading + R"("saturation":95.123}})",
                                     reading + R"("pulse":80}})",
                                     R"({"id":"a","time":")" + at + R"("})",
                                     reading + R"("saturation":95},"set":{"breaths":1}})",
                                     many}) {
    EXPECT_FALSE(report_of("{\"entries\":[" + entries + "]}").has_value()) << entries.substr(0, 99);
  }
  EXPECT_FALSE(report_of(R"({"entries":{}})").has_value());
  EXPECT_FALSE(report_of(R"({"takenBack":[1]})").has_value());
  EXPECT_TRUE(report_of("{}").has_value());
}

TEST(SheetDocument, TellsWhatWasReportedAndWhatIsSeen) {
  EXPECT_EQ(reported_view(""), "[]");
  EXPECT_EQ(
      reported_view(kFirst),
      R"([{"id":"e-1","time":"2027-01-15T10:00:00+01:00","set":{"breaths":10,"best":1500}}])");
  std::string attested = kFirst;
  attested.insert(attested.size() - 1, R"(,"attestation":[{"entry":["e-1"]}])");
  EXPECT_NE(reported_view(attested).find(R"("seen":true)"), std::string::npos);
  std::string theirs = kFirst;
  theirs.replace(theirs.find(R"("role":"patient")"), 16, R"("role":"therapist")");
  EXPECT_EQ(reported_view(theirs), "[]");
}

TEST(SheetDocument, ReadsTimesWithTheirOffsets) {
  // 1 800 000 000 s since 1970 is 2027-01-15T08:00:00Z (date -u -d @1800000000).
  EXPECT_EQ(milliseconds_of("2027-01-15T08:00:00Z"), 1'800'000'000'000);
  EXPECT_EQ(milliseconds_of("2027-01-15T09:00:00+01:00"), 1'800'000'000'000);
  EXPECT_EQ(milliseconds_of("2027-01-15T02:30:00.5-05:30"), 1'800'000'000'500);
  EXPECT_EQ(milliseconds_of("2024-02-29T00:00:00Z"), 1'709'164'800'000);
  EXPECT_EQ(milliseconds_of("2027-01-15T08:00Z"), std::nullopt);
  EXPECT_EQ(milliseconds_of("2027-01-15"), std::nullopt);
  EXPECT_EQ(milliseconds_of(""), std::nullopt);
}

}  // namespace
}  // namespace engine::web
