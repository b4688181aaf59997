// Profiles of our own making: slicing by each kind of discriminator, fixed values and patterns,
// limits, extensions with contexts, choices of profiles. Rules: FHIR R4 profiling.html.

#include <string>

#include <gtest/gtest.h>

#include "tests/check/r4.h"

namespace engine::check {
namespace {

std::string definition(std::string_view name, std::string_view type, std::string_view elements,
                       std::string_view more = "") {
  return R"({"resourceType":"StructureDefinition","url":"http://t/)" + std::string(name) +
         R"(","name":")" + std::string(name) +
         R"(","status":"active","fhirVersion":"4.0.1","kind":")" +
         (type == "Extension" ? "complex-type" : "resource") + R"(","abstract":false,"type":")" +
         std::string(type) + R"(","baseDefinition":"http://hl7.org/fhir/StructureDefinition/)" +
         std::string(type) + R"(","derivation":"constraint")" + std::string(more) +
         R"(,"differential":{"element":[)" + std::string(elements) + "]}}";
}

std::vector<base::SourceFile> definitions() {
  std::vector<base::SourceFile> out;
  const auto add = [&](std::string text) {
    out.push_back({"d" + std::to_string(out.size()) + ".json", std::move(text)});
  };
  // clang-format off: version 14 does not know where these literals end.
  add(definition("by-value", "Patient",
                 R"~({"id":"Patient.telecom","path":"Patient.telecom","slicing":{"discriminator")~"
                 R"~(:[{"type":"value","path":"system"}],"ordered":true,"rules":"closed"}},{"id")~"
                 R"~(:"Patient.telecom:phone","path":"Patient.telecom","sliceName":"phone","min")~"
                 R"~(:1,"max":"1"},{"id":"Patient.telecom:phone.system","path":"Patient.telecom.)~"
                 R"~(system","min":1,"fixedCode":"phone"},{"id":"Patient.telecom:email","path":")~"
                 R"~(Patient.telecom","sliceName":"email"},{"id":"Patient.telecom:email.system",)~"
                 R"~("path":"Patient.telecom.system","min":1,"fixedCode":"email"})~"));
  add(definition("by-pattern", "Observation",
                 R"~({"id":"Observation.category","path":"Observation.category","slicing":{"disc)~"
                 R"~(riminator":[{"type":"pattern","path":"$this"}],"rules":"open"}},{"id":"Obse)~"
                 R"~(rvation.category:exam","path":"Observation.category","sliceName":"exam","mi)~"
                 R"~(n":1,"patternCodeableConcept":{"coding":[{"code":"exam"}]}})~"));
  add(definition("by-exists", "Patient",
                 R"~({"id":"Patient.name","path":"Patient.name","slicing":{"discriminator":[{"ty)~"
                 R"~(pe":"exists","path":"period"}],"rules":"open"}},{"id":"Patient.name:dated",)~"
                 R"~("path":"Patient.name","sliceName":"dated","max":"1"},{"id":"Patient.name:da)~"
                 R"~(ted.period","path":"Patient.name.period","min":1})~"));
  add(definition("by-type", "Observation",
                 R"~({"id":"Observation.value[x]","path":"Observation.value[x]","slicing":{"disc)~"
                 R"~(riminator":[{"type":"type","path":"$this"}],"rules":"closed"}},{"id":"Obser)~"
                 R"~(vation.value[x]:valueQuantity","path":"Observation.value[x]","sliceName":"v)~"
                 R"~(alueQuantity","type":[{"code":"Quantity"}]},{"id":"Observation.value[x]:val)~"
                 R"~(ueQuantity.unit","path":"Observation.value[x].unit","min":1})~"));
  add(definition("by-target", "Observation",
                 R"~({"id":"Observation.performer","path":"Observation.performer","slicing":{"di)~"
                 R"~(scriminator":[{"type":"type","path":"resolve()"}],"rules":"open"}},{"id":"O)~"
                 R"~(bservation.performer:org","path":"Observation.performer","sliceName":"org",)~"
                 R"~("min":1,"type":[{"code":"Reference","targetProfile":["http://hl7.org/fhir/S)~"
                 R"~(tructureDefinition/Organization"]}]})~"));
  add(definition("limits", "Observation",
                 R"~({"id":"Observation.value[x]","path":"Observation.value[x]","type":[{"code":)~"
                 R"~("Quantity"}],"maxValueQuantity":{"value":2,"system":"http://unitsofmeasure.)~"
                 R"~(org","code":"kg"}},{"id":"Observation.issued","path":"Observation.issued",")~"
                 R"~(minValueInstant":"2026-01-01T00:00:00Z"})~"));
  add(definition("relative", "Patient",
                 R"~({"id":"Patient.birthDate","path":"Patient.birthDate","minValueQuantity":{"v)~"
                 R"~(alue":-130,"system":"http://unitsofmeasure.org","code":"a"},"maxValueQuanti)~"
                 R"~(ty":{"value":0,"system":"http://unitsofmeasure.org","code":"d"}})~"));
  add(definition("fixed", "Patient",
                 R"~({"id":"Patient.gender","path":"Patient.gender","fixedCode":"other"},{"id":")~"
                 R"~(Patient.maritalStatus","path":"Patient.maritalStatus","fixedCodeableConcept)~"
                 R"~(":{"text":"x"}},{"id":"Patient.name.family","path":"Patient.name.family","m)~"
                 R"~(axLength":5})~"));
  add(definition("rule", "Patient",
                 R"~({"id":"Patient","path":"Patient","constraint":[{"key":"t-1","severity":"err)~"
                 R"~(or","human":"h","expression":"name.exists() or identifier.exists()"},{"key")~"
                 R"~(:"t-2","severity":"warning","human":"h","expression":"birthDate.exists()"}])~"
                 R"~(})~"));
  add(definition("place", "Extension",
                 R"~({"id":"Extension.url","path":"Extension.url","fixedUri":"http://t/place"},{)~"
                 R"~("id":"Extension.value[x]","path":"Extension.value[x]","min":1,"type":[{"cod)~"
                 R"~(e":"string"}]})~",
                 R"~(,"context":[{"type":"element","expression":"Patient.contact.name"}])~"));
  add(definition("with-extension", "Patient",
                 R"~({"id":"Patient.birthDate.extension","path":"Patient.birthDate.extension","s)~"
                 R"~(licing":{"discriminator":[{"type":"value","path":"url"}],"rules":"open"}},{)~"
                 R"~("id":"Patient.birthDate.extension:bt","path":"Patient.birthDate.extension",)~"
                 R"~("sliceName":"bt","min":1,"type":[{"code":"Extension","profile":["http://hl7)~"
                 R"~(.org/fhir/StructureDefinition/patient-birthTime"]}]})~"));
  add(definition("narrowed", "Patient",
                 R"~({"id":"Patient.deceased[x]","path":"Patient.deceased[x]","type":[{"code":"b)~"
                 R"~(oolean"}]},{"id":"Patient.photo","path":"Patient.photo","max":"0"},{"id":"P)~"
                 R"~(atient.name","path":"Patient.name","min":1,"max":"2"})~"));
  // clang-format on
  return out;
}

struct Shapes {
  std::unique_ptr<shapes::Catalog> catalog = testing_r4::fresh_catalog();
  fhir::Issues issues = catalog->add(definitions());
  std::unique_ptr<Checker> checker;

  Shapes() {
    catalog->freeze();
    checker = std::make_unique<Checker>(*catalog);
  }
};

const Shapes& loaded() {
  static const Shapes kept;
  return kept;
}

std::string verdict(std::string_view profile, std::string_view text, std::string_view now = {}) {
  json::Document document(loaded().catalog->names());
  if (!document.parse(text)) {
    return "unreadable";
  }
  const std::string canonical = profile.empty() ? "" : "http://t/" + std::string(profile);
  const std::string_view asked[] = {canonical};
  Options options;
  options.profiles = profile.empty() ? std::span<const std::string_view>() : asked;
  options.notes = false;
  options.now = now;
  Scratch scratch;
  std::string out;
  for (const fhir::Issue& issue : loaded().checker->check(*document.root(), options, scratch)) {
    out += (out.empty() ? "" : "; ") + std::string(fhir::name_of(issue.severity)) + " " +
           issue.code + " " + issue.expression + (issue.rule.empty() ? "" : " " + issue.rule);
  }
  return out;
}

struct Case {
  const char* profile;
  const char* text;
  const char* verdict;
};

TEST(Profiles, OfThisTestLoadWithoutComplaint) {
  EXPECT_FALSE(fhir::has_errors(loaded().issues))
      << (loaded().issues.empty() ? "" : loaded().issues.front().text);
}

#define PATIENT(members) R"({"resourceType":"Patient",)" members "}"
#define OBSERVATION(members) \
  R"({"resourceType":"Observation","status":"final","code":{"text":"x"},)" members "}"

constexpr Case kCases[] = {
    {"by-value", PATIENT(R"("telecom":[{"system":"phone","value":"1"}])"), ""},
    {"by-value",
     PATIENT(R"("telecom":[{"system":"phone","value":"1"},{"system":"email","value":"2"}])"), ""},
    {"by-value",
     PATIENT(R"("telecom":[{"system":"email","value":"2"},{"system":"phone","value":"1"}])"),
     "error structure Patient.telecom[1]"},
    {"by-value", PATIENT(R"("telecom":[{"system":"fax","value":"1"}])"),
     "error required Patient; error structure Patient.telecom[0]"},
    {"by-value", PATIENT(R"("active":true)"), "error required Patient"},
    {"by-pattern",
     OBSERVATION(R"("category":[{"coding":[{"code":"lab"},{"code":"exam","system":"s:t"}]}])"), ""},
    {"by-pattern", OBSERVATION(R"("category":[{"coding":[{"code":"lab"}]}])"),
     "error required Observation"},
    {"by-exists", PATIENT(R"("name":[{"text":"a"},{"text":"b","period":{"start":"2026"}}])"), ""},
    {"by-exists",
     PATIENT(
         R"("name":[{"text":"a","period":{"end":"2026"}},{"text":"b","period":{"start":"2026"}}])"),
     "error structure Patient"},
    {"by-type", OBSERVATION(R"("valueQuantity":{"value":1,"unit":"x"})"), ""},
    {"by-type", OBSERVATION(R"("valueQuantity":{"value":1})"), "error required Observation.value"},
    {"by-type", OBSERVATION(R"("valueString":"x")"), "error structure Observation.value"},
    {"by-target",
     OBSERVATION(R"("contained":[{"resourceType":"Organization","id":"o","name":"x"}],)"
                 R"("performer":[{"reference":"#o"}])"),
     ""},
    {"by-target", OBSERVATION(R"("performer":[{"display":"x"}])"), "error required Observation"},
    {"limits",
     OBSERVATION(
         R"("valueQuantity":{"value":2000,"system":"http://unitsofmeasure.org","code":"g"})"),
     ""},
    {"limits",
     OBSERVATION(
         R"("valueQuantity":{"value":2001,"system":"http://unitsofmeasure.org","code":"g"})"),
     "error invalid Observation.value"},
    {"limits",
     OBSERVATION(R"("valueQuantity":{"value":1,"system":"http://unitsofmeasure.org","code":"m"})"),
     "error invalid Observation.value"},
    {"limits", OBSERVATION(R"("issued":"2025-12-31T23:59:59Z")"),
     "error invalid Observation.issued"},
    {"limits", OBSERVATION(R"("issued":"2026-01-01T01:00:00+01:00")"), ""},
    {"fixed", PATIENT(R"("gender":"other","maritalStatus":{"text":"x"})"),
     "warning code-invalid Patient.maritalStatus"},
    {"fixed", PATIENT(R"("gender":"male")"), "error value Patient.gender"},
    {"fixed", PATIENT(R"("maritalStatus":{"text":"y"})"),
     "warning code-invalid Patient.maritalStatus; error value Patient.maritalStatus.text"},
    {"fixed", PATIENT(R"("name":[{"family":"abcdé"}])"), ""},
    {"fixed", PATIENT(R"("name":[{"family":"abcdef"}])"), "error too-long Patient.name[0].family"},
    {"rule", PATIENT(R"("name":[{"text":"x"}],"birthDate":"2020")"), ""},
    {"rule", PATIENT(R"("active":true)"),
     "error invariant Patient t-1; warning invariant Patient t-2"},
    {"",
     PATIENT(R"("contact":[{"name":{"text":"x","extension":[{"url":"http://t/place",)"
             R"("valueString":"y"}]}}])"),
     ""},
    {"",
     PATIENT(R"("contact":[{"name":{"text":"x","extension":[{"url":"http://t/place",)"
             R"("valueCode":"y"}]}}])"),
     "error structure Patient.contact[0].name.extension[0]"},
    {"",
     PATIENT(R"("name":[{"text":"x","extension":[{"url":"http://t/place",)"
             R"("valueString":"y"}]}])"),
     "error structure Patient.name[0]"},
    {"", PATIENT(R"("contact":[{"name":{"text":"x","modifierExtension":[]}}])"),
     "error structure Patient.contact[0].name"},
    {"with-extension",
     PATIENT(R"("birthDate":"2020-01-01","_birthDate":{"extension":[{"url":)"
             R"("http://hl7.org/fhir/StructureDefinition/patient-birthTime","valueDateTime":)"
             R"("2020-01-01T10:00:00Z"}]})"),
     ""},
    {"with-extension", PATIENT(R"("birthDate":"2020-01-01")"), "error required Patient.birthDate"},
    {"narrowed", PATIENT(R"("deceasedBoolean":true,"name":[{"text":"x"}])"), ""},
    {"narrowed", PATIENT(R"("deceasedDateTime":"2026","name":[{"text":"x"}])"),
     "error structure Patient"},
    {"narrowed", PATIENT(R"("photo":[{"title":"x"}],"name":[{"text":"x"}])"),
     "error structure Patient"},
    {"narrowed", PATIENT(R"("name":[{"text":"x"},{"text":"y"},{"text":"z"}])"),
     "error structure Patient"},
};
#undef PATIENT
#undef OBSERVATION

TEST(Profiles, AreMetOrNotForTheReasonGiven) {
  for (const Case& each : kCases) {
    EXPECT_EQ(verdict(each.profile, each.text), each.verdict) << each.profile << " " << each.text;
  }
}

// FHIR R4 ElementDefinition: the limit of a date may be a length of time from the present.
TEST(Profiles, LimitsMayBeRelativeToThePresent) {
  const auto at = [](std::string_view birth_date, std::string_view now) {
    return verdict("relative",
                   R"({"resourceType":"Patient","birthDate":")" + std::string(birth_date) + "\"}",
                   now);
  };
  constexpr std::string_view kNow = "2026-03-02T09:00:00.000Z";
  EXPECT_EQ(at("1896-03-01", kNow), "error invalid Patient.birthDate");
  EXPECT_EQ(at("1896-03-02", kNow), "");
  EXPECT_EQ(at("2026-03-02", kNow), "");
  EXPECT_EQ(at("2026-03-03", kNow), "error invalid Patient.birthDate");
  EXPECT_EQ(at("2026", kNow), "");      // may be before or after
  EXPECT_EQ(at("2026-03-03", ""), "");  // without a present nothing is decided
}

}  // namespace
}  // namespace engine::check
