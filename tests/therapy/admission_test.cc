// What a session document may hold. Each row changes one thing in a good sample.

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "tests/therapy/house.h"

namespace engine::therapy {
namespace {

using testing::house;
using testing::replaced;
using testing::sample;

struct Row {
  const char* name;
  const char* sample;
  const char* from;
  const char* to;
  const char* says;  // a part of the sentence that the person gets
};

std::string all_texts(const fhir::Issues& issues) {
  std::string all;
  for (const fhir::Issue& issue : issues) {
    all += issue.expression + ": " + issue.text + "\n";
  }
  return all;
}

TEST(Admission, GoodSamplesAreAdmitted) {
  for (const char* name : {"vitals", "breathing-exerciser", "self-care", "ward-session"}) {
    const Translator::Admission admission = house().admit(sample(name));
    EXPECT_TRUE(admission.admitted) << name << "\n" << all_texts(admission.issues);
  }
}

TEST(Admission, TheHeaderIsReadWithoutMapping) {
  const Translator::Admission admission = house().admit(sample("vitals"));
  EXPECT_EQ(admission.header.system, "https://hill.example/ids/session");
  EXPECT_EQ(admission.header.value, "sample-vitals");
  EXPECT_EQ(admission.header.revision, 1U);
  EXPECT_TRUE(admission.header.closed);
  EXPECT_EQ(admission.header.patient_key, "https://hill.example/ids/patient|P-0007");
  EXPECT_EQ(admission.header.therapist_key, "https://hill.example/ids/staff|T-21");
  EXPECT_EQ(admission.header.session_id.size(), 36U);
}

TEST(Admission, TheContentIsTheSameWhateverTheLayout) {
  const std::string body = sample("vitals");
  const std::string content = house().admit(body).content;
  EXPECT_EQ(content.size(), 64U);
  std::string spread;
  for (const char c : body) {
    spread += c == '\n' ? std::string("\r\n\t ") : std::string(1, c);
  }
  EXPECT_EQ(house().admit(spread).content, content);
  const std::string name = "\"system\": \"https://hill.example/ids/session\"";
  const std::string value = "\"value\": \"sample-vitals\"";
  const auto turned = replaced(body, name + ", " + value, value + ", " + name);
  EXPECT_NE(turned, body);
  EXPECT_EQ(house().admit(turned).content, content);
  // A digit more is another value.
  EXPECT_NE(house().admit(replaced(body, "\"value\": 88", "\"value\": 88.0")).content, content);
}

TEST(Admission, RefusesWhatIsNoSessionDocument) {
  const Row rows[] = {
      {"no json", "vitals", "{", "[", "no readable JSON"},
      {"other resource", "vitals", "\"TherapySession\"", "\"Observation\"", "no session document"},
      {"unknown member", "vitals", "\"facility\"", "\"facilty\"", "did you mean 'facility'"},
      {"unknown member deep", "vitals", "\"oximeterSite\"", "\"oximeterSight\"",
       "did you mean 'oximeterSite'"},
      {"no identifier", "vitals",
       "\"identifier\": { \"system\": \"https://hill.example/ids/session\", "
       "\"value\": \"sample-vitals\" },",
       "", "'identifier' is missing"},
      {"identifier without value", "vitals", ", \"value\": \"sample-vitals\" }", " }",
       "'value' is missing"},
      {"revision nought", "vitals", "\"revision\": 1", "\"revision\": 0", "positiveInt"},
      {"revision as text", "vitals", "\"revision\": 1", "\"revision\": \"1\"",
       "A number is expected"},
      {"unknown status", "vitals", "\"closed\"", "\"finished\"", "use one of"},
      {"closed without end", "vitals", ", \"end\": \"2026-03-02T09:40:00+01:00\"", "",
       "needs an end"},
      {"end before start", "vitals", "\"end\": \"2026-03-02T09:40", "\"end\": \"2026-03-02T08:40",
       "ends before it starts"},
      {"therapist without discipline", "vitals", "\"discipline\": \"RT\",", "",
       "needs a discipline"},
      {"unknown role", "vitals", "\"role\": \"therapist\"", "\"role\": \"boss\"", "use one of"},
      {"list where one is meant", "vitals", "\"saturation\": { \"value\": 93, \"unit\": \"%\" }",
       "\"saturation\": [{ \"value\": 93, \"unit\": \"%\" }]", "without [ ]"},
      {"one where a list is meant", "breathing-exerciser", "\"repetition\": [",
       "\"repetition\": {}, \"x\": [", "always a list"},
      {"more volumes than breaths", "breathing-exerciser", "\"repetition\": [",
       "\"breaths\": 1, \"repetition\": [", "more volumes than breaths"},
      {"a set without breaths", "patient-reported", "\"breathingExerciser\": { \"breaths\": 10 }",
       "\"breathingExerciser\": { \"device\": \"x\" }", "or their number"},
      {"text for a number", "vitals", "\"value\": 93", "\"value\": \"93\"", "A number is expected"},
      {"null", "vitals", "\"value\": 93", "\"value\": null", "A number is expected"},
      {"empty text", "vitals", "\"The oximeter was needed elsewhere.\"", "\"\"", "no string"},
      {"duplicate member", "vitals", "\"revision\": 1,", "\"revision\": 1, \"revision\": 2,",
       "there twice"},
      {"computed member", "vitals", "\"revision\": 1,", "\"revision\": 1, \"finding\": [],",
       "made by the engine"},
      {"time without offset", "vitals", "\"time\": \"2026-03-02T09:02:00+01:00\"",
       "\"time\": \"2026-03-02T09:02:00\"", "is no dateTime"},
      {"time without hours", "vitals", "\"time\": \"2026-03-02T09:02:00+01:00\"",
       "\"time\": \"2026-03-02\"", "needs hours"},
      {"no such day", "vitals", "\"time\": \"2026-03-02T09:02:00+01:00\"",
       "\"time\": \"2026-02-30T09:02:00+01:00\"", "is no dateTime"},
      {"time and period", "vitals", "\"phase\": \"rest\",",
       "\"phase\": \"rest\", \"period\": {\"start\": \"2026-03-02T09:02:00+01:00\"},", "not both"},
      {"before the session", "vitals", "\"time\": \"2026-03-02T09:02:00+01:00\"",
       "\"time\": \"2026-03-02T08:02:00+01:00\"", "before the start"},
      {"after the session", "vitals", "\"time\": \"2026-03-02T09:02:00+01:00\"",
       "\"time\": \"2026-03-02T10:02:00+01:00\"", "after the end"},
      {"duplicate id", "vitals", "\"id\": \"v2\"", "\"id\": \"v1\"", "its own, for ever"},
      {"two kinds", "vitals", "\"vitals\": {", "\"note\": {\"text\": \"x\"}, \"vitals\": {",
       "carries one kind"},
      {"no kind", "self-care",
       "\"selfCare\": {\n        \"activity\": \"footwear\",\n        \"help\": \"07\"\n      }",
       "\"comment\": \"x\"", "carries nothing"},
      {"dangling during", "vitals", "\"phase\": \"rest\",",
       "\"phase\": \"rest\", \"during\": \"zz\",", "no entry with this id"},
  };
  for (const Row& row : rows) {
    const auto admission = house().admit(replaced(sample(row.sample), row.from, row.to));
    EXPECT_FALSE(admission.admitted) << row.name;
    EXPECT_NE(all_texts(admission.issues).find(row.says), std::string::npos)
        << row.name << "\n"
        << all_texts(admission.issues);
  }
}

TEST(Admission, RefusesTheImpossibleAndNamesThePlace) {
  const Row rows[] = {
      {"saturation 104", "vitals", "\"value\": 93", "\"value\": 104",
       "saturation: Oxygen saturation of 104 % is impossible"},
      {"flow -2", "vitals", "\"value\": 2, \"unit\": \"L/min\"",
       "\"value\": -2, \"unit\": \"L/min\"", "impossible"},
      {"pulse 401", "vitals", "\"value\": 88", "\"value\": 401", "impossible"},
      {"temperature 9.9", "vitals", "\"value\": 37.2", "\"value\": 9.9", "impossible"},
      {"wrong unit", "vitals", "\"unit\": \"/min\"", "\"unit\": \"bpm\"", "use /min"},
      {"beats as unit", "vitals", "\"unit\": \"/min\"", "\"unit\": \"{beats}/min\"", "use /min"},
      {"no unit", "vitals", "{ \"value\": 93, \"unit\": \"%\" }", "{ \"value\": 93 }",
       "without a unit"},
      {"diastolic over systolic", "vitals", "\"value\": 76", "\"value\": 130", "over the systolic"},
      {"comparator", "vitals", "{ \"value\": 93,", "{ \"comparator\": \"<\", \"value\": 93,",
       "exact value"},
  };
  for (const Row& row : rows) {
    const auto admission = house().admit(replaced(sample(row.sample), row.from, row.to));
    EXPECT_FALSE(admission.admitted) << row.name;
    EXPECT_NE(all_texts(admission.issues).find(row.says), std::string::npos)
        << row.name << "\n"
        << all_texts(admission.issues);
  }
}

TEST(Admission, TheImprobableAsksAndIsHeldUntilConfirmed) {
  const Row rows[] = {
      {"saturation 9", "vitals", "\"value\": 93", "\"value\": 9", "outside the usual 60 to 100"},
      {"a fraction for a percentage", "vitals", "\"value\": 93", "\"value\": 0.93",
       "probably a fraction"},
      {"8 L/min by cannula", "vitals", "\"value\": 2, \"unit\": \"L/min\"",
       "\"value\": 8, \"unit\": \"L/min\"", "outside the usual 0 to 6"},
      {"98.6 Celsius", "vitals", "\"value\": 37.2", "\"value\": 98.6", "Fahrenheit"},
  };
  for (const Row& row : rows) {
    const std::string body = replaced(sample(row.sample), row.from, row.to);
    const Translation asked = testing::translate_one(body);
    EXPECT_EQ(asked.verdict, Verdict::kHeld) << row.name;
    EXPECT_EQ(asked.hold_reason, "unconfirmed-value") << row.name;
    EXPECT_NE(all_texts(asked.issues).find(row.says), std::string::npos) << row.name << "\n"
                                                                         << all_texts(asked.issues);
  }
  const std::string confirmed =
      replaced(replaced(sample("vitals"), "\"value\": 93", "\"value\": 59"), "\"phase\": \"rest\",",
               "\"phase\": \"rest\", \"confirmed\": true,");
  EXPECT_NE(testing::translate_one(confirmed).hold_reason, "unconfirmed-value");
}

TEST(Admission, ConfirmingDoesNotMakeTheImpossiblePossible) {
  const std::string body =
      replaced(replaced(sample("vitals"), "\"value\": 37.2", "\"value\": 98.6"),
               "\"phase\": \"rest\",", "\"phase\": \"rest\", \"confirmed\": true,");
  EXPECT_FALSE(house().admit(body).admitted);
}

TEST(Admission, APulseOf118InEffortAsksNothing) {
  const auto admission =
      house().admit(replaced(sample("vitals"), "\"value\": 88", "\"value\": 118"));
  EXPECT_TRUE(admission.admitted);
  EXPECT_EQ(all_texts(admission.issues), "");
}

TEST(Admission, ContradictionsBetweenEntriesAreNamedAndHeld) {
  const Row rows[] = {
      {"oxygen off with a flow", "vitals", "\"device\": \"nasal-cannula\"",
       "\"device\": \"room-air\"", "Oxygen is off"},
      {"walked while in bed", "walk",
       "\"phase\": \"effort\",\n      \"during\": \"w1\",\n      \"vitals\": {",
       "\"during\": \"w1\", \"vitals\": { \"position\": \"in-bed\",",
       "says that the patient walked"},
  };
  for (const Row& row : rows) {
    const Translation held = testing::translate_one(replaced(sample(row.sample), row.from, row.to));
    EXPECT_EQ(held.hold_reason, "contradiction") << row.name;
    EXPECT_NE(all_texts(held.issues).find(row.says), std::string::npos) << row.name << "\n"
                                                                        << all_texts(held.issues);
  }
}

TEST(Admission, AnAttestationBeforeTheSessionIsHeld) {
  const std::string by = R"("attestation": [{"by": {"display": "Jo Sample", "discipline": "RT", )"
                         R"("role": "therapist"}, "time": ")";
  for (const auto& [time, hold] : {std::pair("2026-03-02T09:00:00+01:00", ""),
                                   std::pair("1926-03-02T09:00:00+01:00", "contradiction")}) {
    const std::string body =
        replaced(sample("vitals"), "\"revision\": 1,", "\"revision\": 1, " + by + time + "\"}],");
    EXPECT_EQ(testing::translate_one(body).hold_reason, hold) << time;
  }
}

TEST(Admission, AJumpFromTheLastReadingAsks) {
  const std::string body = replaced(
      replaced(sample("vitals"), "\"time\": \"2026-03-02T09:20", "\"time\": \"2026-03-02T09:08"),
      "\"value\": 95", "\"value\": 82");
  EXPECT_EQ(testing::translate_one(body).hold_reason, "unconfirmed-value");
}

TEST(Admission, ATimeInTheFutureIsHeld) {
  const Translation held = testing::translate_one(sample("vitals"), "2026-03-02T07:00:00Z");
  EXPECT_EQ(held.hold_reason, "time-in-future");
  const std::pair<const char*, const char*> slips[] = {
      {"\"end\": \"2026-", "\"end\": \"2099-"},
      {"\"id\": \"v3\",", "\"id\": \"v3\", \"recordedAt\": \"2099-03-02T09:31:00+01:00\","},
      {"\"revision\": 1,",
       "\"revision\": 1, \"change\": {\"reason\": \"Misread\", \"time\": "
       "\"2099-03-02T09:31:00+01:00\"},"},
  };
  for (const auto& [from, to] : slips) {
    EXPECT_EQ(testing::translate_one(replaced(sample("vitals"), from, to)).hold_reason,
              "time-in-future")
        << to;
  }
}

TEST(Admission, BoundsOfSizeAndDepthAreHeld) {
  std::string deep = R"({"resourceType":"TherapySession","x":)";
  for (int i = 0; i < 100; ++i) {
    deep += "[";
  }
  EXPECT_FALSE(house().admit(deep).admitted);
  EXPECT_FALSE(house().admit("").admitted);
  EXPECT_FALSE(house().admit("\xff\xfe").admitted);
  EXPECT_FALSE(house().admit(std::string(11U << 20U, ' ')).admitted);
}

TEST(Admission, TextsHaveTheirBounds) {
  const auto therapist = [](const std::string& member, const std::string& text) {
    return replaced(sample("vitals"), member == "value" ? "\"T-21\"" : "\"T. Hill\"",
                    "\"" + text + "\"");
  };
  constexpr std::size_t kMax = base::limits::kShortTextCharsMax;
  std::string longest;
  for (std::size_t i = 0; i < kMax; ++i) {
    longest += "\u00e9";  // two bytes, one character
  }
  EXPECT_TRUE(house().admit(therapist("value", longest)).admitted);
  const auto refused = house().admit(therapist("value", longest + "x"));
  EXPECT_FALSE(refused.admitted);
  EXPECT_NE(all_texts(refused.issues).find("therapist.identifier.value: This text is too long"),
            std::string::npos)
      << all_texts(refused.issues);
  // What is written in sentences is not bounded so.
  EXPECT_TRUE(house()
                  .admit(replaced(sample("vitals"), "The oximeter was needed elsewhere.",
                                  std::string(10 * kMax, 'w')))
                  .admitted);
  for (const char* control : {"\\u0000", "\\u0001", "\\u001b[2J", "\\u001f"}) {
    const auto admission =
        house().admit(replaced(sample("vitals"), "The oximeter was needed elsewhere.", control));
    EXPECT_FALSE(admission.admitted) << control;
    EXPECT_NE(all_texts(admission.issues).find("comment: This text holds a control character"),
              std::string::npos)
        << all_texts(admission.issues);
  }
  EXPECT_TRUE(house()
                  .admit(replaced(sample("vitals"), "The oximeter was needed elsewhere.",
                                  "a\\r\\n\\tb\\u007f"))
                  .admitted);
}

// "a|b" and "c", "a" and "b|c": two identifiers, and the same text.
TEST(Admission, ASystemWithABarIsRefused) {
  const auto admission = house().admit(
      replaced(sample("vitals"), "https://hill.example/ids/staff", "https://hill.example/a|b"));
  EXPECT_FALSE(admission.admitted);
  EXPECT_NE(all_texts(admission.issues).find("identifier.system: A system is a URI"),
            std::string::npos)
      << all_texts(admission.issues);
  EXPECT_TRUE(house().admit(replaced(sample("vitals"), "\"T-21\"", "\"T|21\"")).admitted);
}

TEST(Admission, AnIdentifierWithWhiteSpaceAroundItIsAnotherOneAndRefused) {
  for (const char* value : {" P-0007", "P-0007 ", "P-0007\\n", "P-0007\\t", "P-00\\r07"}) {
    const std::string sent =
        replaced(sample("vitals"), "\"P-0007\"", "\"" + std::string(value) + "\"");
    const auto admission = house().admit(sent);
    EXPECT_FALSE(admission.admitted) << value;
    EXPECT_NE(all_texts(admission.issues)
                  .find("patient.identifier.value: The identifier of the "
                        "patient has a space at an end"),
              std::string::npos)
        << all_texts(admission.issues);
    // What was taken in so can be taken back.
    EXPECT_TRUE(house()
                    .admit(replaced(replaced(sent, "\"closed\"", "\"entered-in-error\""),
                                    "\"revision\": 1", "\"revision\": 2"))
                    .admitted)
        << value;
  }
  EXPECT_TRUE(house().admit(replaced(sample("vitals"), "\"P-0007\"", "\"P 0007\"")).admitted);
}

// In a journal since before such texts were refused.
TEST(Admission, WhatMakesTooMuchIsHeldWithoutABundle) {
  std::string note =
      replaced(sample("vitals"), "\"T-21\"", "\"" + std::string(100'000, 'p') + "\"");
  const Translation small = testing::translate_one(note);
  EXPECT_EQ(small.verdict, Verdict::kReady);
  EXPECT_GT(small.bundle.size(), 100'000U);
  std::string entries;
  for (int i = 0; i < 400; ++i) {
    entries += R"({"id":"n)" + std::to_string(i) +
               R"(","time":"2026-03-02T09:02:00+01:00","note":{"text":"seen"}},)";
  }
  const Translation large =
      testing::translate_one(replaced(note, "\"entry\": [", "\"entry\": [" + entries));
  EXPECT_EQ(large.verdict, Verdict::kHeld);
  EXPECT_EQ(large.hold_reason, "map-failed");
  EXPECT_TRUE(large.bundle.empty());
  EXPECT_NE(all_texts(large.issues).find("larger than is ever sent at once (32 MiB)"),
            std::string::npos)
      << all_texts(large.issues);
}

// The memory of one document ends long before that of the machine, and the engine goes on.
TEST(Admission, WhatTakesTooMuchMemoryIsHeld) {
  std::string entries;
  for (int i = 0; i < 1'200; ++i) {
    entries += R"({"id":"n)" + std::to_string(i) +
               R"(","time":"2026-03-02T09:02:00+01:00","note":{"text":"seen"}},)";
  }
  const std::string body =
      replaced(replaced(sample("vitals"), "\"entry\": [", "\"entry\": [" + entries), "\"T-21\"",
               "\"" + std::string(1'000'000, 'p') + "\"");
  const Translation held = testing::translate_one(body);
  EXPECT_EQ(held.verdict, Verdict::kHeld);
  EXPECT_EQ(held.hold_reason, "map-failed");
  EXPECT_TRUE(held.bundle.empty());
  EXPECT_FALSE(held.issues.empty());
}

TEST(Admission, ReadingsOutsideTheOrderAreShownAndNotHeld) {
  const std::string order =
      "\"order\": { \"oxygen\": { \"flowMin\": { \"value\": 3, \"unit\": \"L/min\" }, "
      "\"fractionMax\": { \"value\": 28, \"unit\": \"%\" } } }, \"entry\": [";
  const std::string body = replaced(sample("vitals"), "\"entry\": [", order);
  const Translation low = testing::translate_one(body);
  EXPECT_EQ(low.hold_reason, "");
  EXPECT_NE(all_texts(low.issues).find("Under the ordered flow of at least 3 L/min"),
            std::string::npos)
      << all_texts(low.issues);
  const Translation high =
      testing::translate_one(replaced(body, "\"flow\": { \"value\": 2, \"unit\": \"L/min\" }",
                                      "\"fraction\": { \"value\": 40, \"unit\": \"%\" }"));
  EXPECT_NE(all_texts(high.issues).find("Over the ordered fraction of 28 %"), std::string::npos)
      << all_texts(high.issues);
}

}  // namespace
}  // namespace engine::therapy
