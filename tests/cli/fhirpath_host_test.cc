// What chartferry fhirpath answers from the embedded definitions: value sets and profiles.

#include <string>

#include <gtest/gtest.h>

#include "tests/cli/program.h"

namespace cli_test {
namespace {

std::string line(const std::string& expression, const std::string& resource) {
  return R"({"id":"1","expression":")" + expression + R"(","resource":)" + resource + "}\n";
}

// The codes of administrative-gender are FHIR R4's own; the vital-signs profile wants a category,
// which this Observation lacks.
constexpr const char* kGender = "http://hl7.org/fhir/ValueSet/administrative-gender";
constexpr const char* kVitalSigns = "http://hl7.org/fhir/StructureDefinition/vitalsigns";
constexpr const char* kBare =
    R"({"resourceType":"Observation","status":"final","code":{"text":"x"}})";

struct Case {
  std::string expression;
  std::string resource;
  std::string answered;
};

TEST(FhirpathHost, ValueSetsAndProfilesAnswer) {
  const std::string member = "Patient.gender.memberOf('" + std::string(kGender) + "')";
  const std::string conforms = "conformsTo('" + std::string(kVitalSigns) + "')";
  const Case cases[] = {
      {member, R"({"resourceType":"Patient","gender":"male"})", R"("value":true)"},
      {member, R"({"resourceType":"Patient","gender":"man"})", R"("value":false)"},
      {"gender.memberOf('http://sets.example/no')", R"({"resourceType":"Patient","gender":"male"})",
       "http://sets.example/no is not loaded"},
      {conforms, kBare, R"("value":false)"},
      {"conformsTo('http://hl7.org/fhir/StructureDefinition/Observation')", kBare,
       R"("value":true)"},
  };
  for (const Case& one : cases) {
    const Answer answer = run_program({"fhirpath", "--batch"}, line(one.expression, one.resource));
    EXPECT_NE(answer.out.find(one.answered), std::string::npos) << one.expression << "\n"
                                                                << answer.out;
  }
}

// R4's blood pressure profile slices component by a pattern on its code.
constexpr const char* kPressure = R"({"resourceType":"Observation","status":"final",
"component":[{"code":{"coding":[{"system":"http://loinc.org","code":"8480-6"}]},
"valueQuantity":{"value":120}},
{"code":{"coding":[{"system":"http://loinc.org","code":"8462-4"}]},"valueQuantity":{"value":80}}]})";
constexpr const char* kPerson =
    R"({"resourceType":"Patient","name":[{"given":["A"]}],"_birthDate":{"id":"b"}})";

std::string on_one_line(std::string text) {
  std::erase(text, '\n');
  return text;
}

TEST(FhirpathHost, SlicesAreToldByTheirDiscriminators) {
  const std::string bp = "'http://hl7.org/fhir/StructureDefinition/bp'";
  const Case cases[] = {
      {"component.slice(" + bp + ", 'SystolicBP').value.value", kPressure, R"("value":120)"},
      {"component.slice(" + bp + ", 'DiastolicBP').value.value", kPressure, R"("value":80)"},
      {"component.slice(" + bp + ", 'SystolicBP').count()", kPressure, R"("value":1)"},
      {"code.slice(" + bp + ", 'SystolicBP')", kBare, R"("result":[])"},
      {"component.slice(" + bp + ", 'MeanBP')", kPressure, "has no slice named 'MeanBP'"},
      {"component.slice('http://sets.example/no', 'x')", kPressure,
       "http://sets.example/no is not loaded"},
      {"'text'.slice(" + bp + ", 'SystolicBP')", kPressure, R"("result":[])"},
  };
  for (const Case& one : cases) {
    const Answer answer =
        run_program({"fhirpath", "--batch"}, line(one.expression, on_one_line(one.resource)));
    EXPECT_NE(answer.out.find(one.answered), std::string::npos) << one.expression << "\n"
                                                                << answer.out;
  }
}

// FHIR R4: HumanName.given is 0..* string; Patient.gender is bound to administrative-gender,
// required; Patient.contact must have something said of the person (pat-1).
TEST(FhirpathHost, ElementDefinitionsAreThoseOfTheTypes) {
  const Case cases[] = {
      {"name.given.elementDefinition().path", kPerson, R"("value":"HumanName.given")"},
      {"name.elementDefinition().max", kPerson, R"("value":"*")"},
      {"name.elementDefinition().type.code", kPerson, R"("value":"HumanName")"},
      {"birthDate.elementDefinition().path", kPerson, R"("value":"Patient.birthDate")"},
      {"elementDefinition().path", kPerson, R"("value":"Patient")"},
      {"component.first().value.elementDefinition().type.count()", on_one_line(kPressure),
       R"("value":11)"},
      {"component.first().elementDefinition().type.code", on_one_line(kPressure),
       R"("value":"BackboneElement")"},
      {"status.elementDefinition().binding.strength", kBare, R"("value":"required")"},
      {"elementDefinition().constraint.where(key = 'obs-6').severity", kBare, R"("value":"error")"},
      {"'text'.elementDefinition()", kBare, R"("result":[])"},
  };
  for (const Case& one : cases) {
    const Answer answer = run_program({"fhirpath", "--batch"}, line(one.expression, one.resource));
    EXPECT_NE(answer.out.find(one.answered), std::string::npos) << one.expression << "\n"
                                                                << answer.out;
  }
}

}  // namespace
}  // namespace cli_test
