// What the checker says of single resources: one row a case, printed in one form. Rules: FHIR R4
// json.html, datatypes.html, references.html, bundle.html, extensibility.html.

#include "engine/check/check.h"

#include <string>

#include <gtest/gtest.h>

#include "tests/check/r4.h"

namespace engine::check {
namespace {

// Errors and warnings: "error structure Patient; warning …", in document order.
std::string verdict(std::string_view text, Options options = {}) {
  json::Document document(testing_r4::catalog().names());
  const base::Result<void> read = document.parse(text);
  if (!read) {
    return "unreadable";
  }
  static Scratch scratch;
  options.notes = false;
  std::string out;
  for (const fhir::Issue& issue : testing_r4::checker().check(*document.root(), options, scratch)) {
    out += (out.empty() ? "" : "; ") + std::string(fhir::name_of(issue.severity)) + " " +
           issue.code + " " + issue.expression + (issue.rule.empty() ? "" : " " + issue.rule);
  }
  return out;
}

Options asking(std::span<const std::string_view> profiles) {
  Options options;
  options.profiles = profiles;
  return options;
}

struct Case {
  const char* text;
  const char* verdict;
};

void expect_all(std::span<const Case> cases) {
  for (const Case& each : cases) {
    EXPECT_EQ(verdict(each.text), each.verdict) << each.text;
  }
}

TEST(Check, FormOfResources) {
  constexpr Case kCases[] = {
      {R"({"resourceType":"Patient"})", ""},
      {R"({"resourceType":"Patient","active":true,"_active":{"id":"a"}})", ""},
      {R"({"resourceType":"Patient","name":[{"given":["A",null],)"
       R"("_given":[null,{"extension":[{"url":"http://x","valueCode":"y"}]}]}]})",
       ""},
      {R"([])", "error structure "},
      {R"({})", "error structure "},
      {R"({"resourceType":"Resource"})", "error structure Resource"},
      {R"({"resourceType":"Pateint"})", "error structure Pateint"},
      {R"({"resourceType":7})", "error structure "},
      {R"({"resourceType":"Patient","nmae":[{"text":"x"}]})", "error structure Patient"},
      {R"({"resourceType":"Patient","fhir_comments":["x"]})", "error structure Patient"},
      {R"({"resourceType":"Patient","active":true,"active":true})", "error structure Patient"},
      {R"({"resourceType":"Patient","resourceType":"Patient"})", "error structure Patient"},
      {R"({"resourceType":"Patient","name":{"text":"x"}})", "error structure Patient.name"},
      {R"({"resourceType":"Patient","active":[true]})", "error structure Patient.active"},
      {R"({"resourceType":"Patient","name":[]})", "error invalid Patient.name"},
      {R"({"resourceType":"Patient","name":[{}]})", "error structure Patient.name[0]"},
      {R"({"resourceType":"Patient","name":["x"]})", "error structure Patient.name[0]"},
      {R"({"resourceType":"Patient","name":null})", "error structure Patient.name"},
      {R"({"resourceType":"Patient","active":null})", "error structure Patient.active"},
      {R"({"resourceType":"Patient","_name":[{"id":"a"}]})", "error structure Patient"},
      {R"({"resourceType":"Patient","_active":{"id":"a"}})",
       "error invariant Patient.active ele-1"},
      {R"({"resourceType":"Patient","name":[{"id":"a"}]})",
       "error invariant Patient.name[0] ele-1"},
      {R"({"resourceType":"Patient","name":[{"given":["A"],"_given":[null,null]}]})",
       "error structure Patient.name[0].given"},
      {R"({"resourceType":"Patient","deceasedBoolean":true,"deceasedDateTime":"2026"})",
       "error structure Patient"},
      {R"({"resourceType":"Patient","deceased":true})", "error structure Patient"},
      {R"({"resourceType":"Patient","deceasedString":"x"})", "error structure Patient"},
      {R"({"resourceType":"Patient","id":"a_b"})", "error invalid Patient.id"},
      {R"({"resourceType":"Patient","id":7})", "error structure Patient.id"},
      {R"({"resourceType":"Patient","_id":{"id":"a"}})", "error structure Patient"},
  };
  expect_all(kCases);
}

TEST(Check, NumbersAndBindings) {
  constexpr Case kCases[] = {
      {R"({"resourceType":"Observation"})",
       "error required Observation; error required Observation"},
      {R"({"resourceType":"Observation","status":"final","code":{"text":"x"}})", ""},
      {R"({"resourceType":"Observation","status":"finale","code":{"text":"x"}})",
       "error code-invalid Observation.status"},
      {R"({"resourceType":"Observation","status":"final","code":{"text":"x"},)"
       R"("interpretation":[{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/)"
       R"(v3-ObservationInterpretation","code":"N"}]}]})",
       ""},
      {R"({"resourceType":"Observation","_status":{"extension":[{"url":"http://x",)"
       R"("valueCode":"y"}]},"code":{"text":"x"}})",
       "error code-invalid Observation.status"},
  };
  expect_all(kCases);
}

TEST(Check, ReferencesPointWhereTheyMay) {
#define OBSERVATION(subject) \
  R"({"resourceType":"Observation","status":"final","code":{"text":"x"},"subject":)" subject "}"
  constexpr Case kCases[] = {
      {OBSERVATION(R"({"reference":"Patient/1"})"), ""},
      {OBSERVATION(R"({"reference":"https://h/fhir/Patient/1"})"), ""},
      {OBSERVATION(R"({"reference":"urn:uuid:0b1c2d3e-4f50-4a61-8b72-93a4b5c6d7e8"})"), ""},
      {OBSERVATION(R"({"identifier":{"value":"1"},"type":"Patient"})"), ""},
      {OBSERVATION(R"({"reference":"Medication/1"})"), "error structure Observation.subject"},
      {OBSERVATION(R"({"reference":"https://h/fhir/Medication/1"})"),
       "error structure Observation.subject"},
      {OBSERVATION(R"({"type":"Medication","display":"x"})"),
       "error structure Observation.subject"},
      {OBSERVATION(R"({"reference":"Patient/1","type":"Group"})"),
       "error structure Observation.subject"},
      {OBSERVATION(R"({"reference":"Patent/1"})"), "error structure Observation.subject"},
      {OBSERVATION(R"({"reference":"patient 1"})"), "warning value Observation.subject.reference"},
      {OBSERVATION(R"({"reference":"#p"})"), "error invariant Observation.subject ref-1"},
  };
#undef OBSERVATION
  expect_all(kCases);
}

TEST(Check, ContainedResourcesBelongToTheirContainer) {
#define WITH(contained, subject)                                           \
  R"({"resourceType":"Observation","status":"final","code":{"text":"x"},)" \
  R"("contained":[)" contained R"(],"subject":{"reference":")" subject R"("}})"
  constexpr Case kCases[] = {
      {WITH(R"({"resourceType":"Patient","id":"p"})", "#p"), ""},
      {WITH(R"({"resourceType":"Medication","id":"p"})", "#p"),
       "error structure Observation.subject"},
      {WITH(R"({"resourceType":"Patient","id":"p"})", "Patient/1"),
       "error invariant Observation.contained[0] dom-3"},
      {WITH(R"({"resourceType":"Patient","id":"p","birthDate":"x"})", "#p"),
       "error invalid Observation.contained[0].birthDate"},
      {WITH(R"({"resourceType":"Patient","id":"p"},{"resourceType":"Patient","id":"p"})", "#p"),
       "error invalid Observation.contained[1]"},
  };
#undef WITH
  expect_all(kCases);
}

TEST(Check, BundlesHoldTogether) {
  constexpr Case kCases[] = {
      {R"({"resourceType":"Bundle","type":"collection","entry":[{"fullUrl":"http://h/Patient/1",)"
       R"("resource":{"resourceType":"Patient","id":"1"}}]})",
       ""},
      {R"({"resourceType":"Bundle","type":"collection","entry":[{"fullUrl":"http://h/Patient/1",)"
       R"("resource":{"resourceType":"Patient","id":"2"}}]})",
       "error invalid Bundle.entry[0]"},
      {R"({"resourceType":"Bundle","type":"collection","entry":[{}]})",
       "error structure Bundle.entry[0]"},
      {R"({"resourceType":"Bundle","type":"searchset","entry":[{"fullUrl":"http://h/Patient/1",)"
       R"("resource":{"resourceType":"Patient","id":"1"},"search":{"mode":"outcome"}}]})",
       "error invalid Bundle.entry[0].resource"},
      // The subject's target is in the Bundle, and is no patient.
      {R"({"resourceType":"Bundle","type":"collection","entry":[{"fullUrl":"urn:uuid:)"
       R"(0b1c2d3e-4f50-4a61-8b72-93a4b5c6d7e8","resource":{"resourceType":"Basic",)"
       R"("code":{"text":"x"}}},{"fullUrl":"urn:uuid:1b1c2d3e-4f50-4a61-8b72-93a4b5c6d7e8",)"
       R"("resource":{"resourceType":"Observation","status":"final","code":{"text":"x"},"subject":)"
       R"({"reference":"urn:uuid:0b1c2d3e-4f50-4a61-8b72-93a4b5c6d7e8"}}}]})",
       "error structure Bundle.entry[1].resource.subject"},
  };
  expect_all(kCases);
}

TEST(Check, ProfilesAskedForHaveToBeLoadedAndOfTheType) {
  const std::string_view unknown[] = {"http://x/StructureDefinition/none"};
  EXPECT_EQ(verdict(R"({"resourceType":"Patient"})", asking(unknown)), "error not-found Patient");
  const std::string_view other[] = {"http://hl7.org/fhir/StructureDefinition/vitalsigns"};
  EXPECT_EQ(verdict(R"({"resourceType":"Patient"})", asking(other)), "error structure Patient");
  EXPECT_EQ(verdict(R"({"resourceType":"Patient","meta":{"profile":["http://x/none"]}})"),
            "warning not-found Patient.meta.profile[0]");
}

TEST(Check, IssuesCarryLineAndColumnOfTheText) {
  const std::string text = "{\"resourceType\": \"Patient\",\n  \"active\": \"yes\"}";
  json::Document document(testing_r4::catalog().names());
  ASSERT_TRUE(document.parse(text));
  Scratch scratch;
  Options options;
  options.text = text;
  options.notes = false;
  const fhir::Issues issues = testing_r4::checker().check(*document.root(), options, scratch);
  ASSERT_EQ(issues.size(), 1U);
  ASSERT_TRUE(issues[0].position);
  EXPECT_EQ(issues[0].position->line, 2U);
  EXPECT_EQ(issues[0].position->column, 13U);
}

TEST(Check, ReportsAreBounded) {
  std::string text = R"({"resourceType":"Patient","name":[)";
  for (int i = 0; i < 1'500; ++i) {
    text += std::string(i == 0 ? "" : ",") + R"({"nope":1})";
  }
  text += "]}";
  json::Document document(testing_r4::catalog().names());
  ASSERT_TRUE(document.parse(text));
  Scratch scratch;
  const fhir::Issues issues = testing_r4::checker().check(*document.root(), {}, scratch);
  EXPECT_EQ(issues.size(), base::limits::kIssuesMax + 1);
  EXPECT_EQ(issues.back().code, "too-costly");
}

}  // namespace
}  // namespace engine::check
