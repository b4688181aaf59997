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

}  // namespace
}  // namespace cli_test
