// The bounds of published definitions, each just below, at and above.

#include "engine/base/limits.h"

#include <gtest/gtest.h>

#include "engine/shapes/definition_set.h"
#include "tests/shapes/published_facts.h"

namespace engine::shapes {
namespace {

namespace limits = base::limits;

std::string profile(std::size_t number, const std::string& base, const std::string& elements) {
  return R"({"resourceType":"StructureDefinition","url":"http://x.example/)" +
         std::to_string(number) + R"(","name":"P","kind":"resource","type":"Observation",)" +
         R"("derivation":"constraint","baseDefinition":")" + base +
         R"(","differential":{"element":[)" + elements + "]}}";
}

std::string first_error(const DefinitionSet& definitions) {
  for (const fhir::Issue& issue : definitions.issues()) {
    if (issue.severity == fhir::Severity::kError) {
      return issue.text;
    }
  }
  return "";
}

// Profiles that each build on the next, the last on Observation; asked for from the top.
std::string error_of_chain(std::size_t length) {
  base::Arena texts;
  DefinitionSet definitions(r4(), texts, "");
  for (std::size_t i = length; i-- > 0;) {
    const std::string base = i == 0 ? "http://hl7.org/fhir/StructureDefinition/Observation"
                                    : "http://x.example/" + std::to_string(i - 1);
    definitions.add("p.json", profile(i, base, ""));
  }
  static_cast<void>(definitions.facts());
  return first_error(definitions);
}

TEST(DefinitionLimits, AChainOfBasesIsBounded) {
  EXPECT_EQ(error_of_chain(limits::kDefinitionChainMax - 1), "");
  EXPECT_EQ(error_of_chain(limits::kDefinitionChainMax), "");
  EXPECT_NE(error_of_chain(limits::kDefinitionChainMax + 1).find("too deeply"), std::string::npos);
}

std::string error_of_elements(std::size_t count) {
  std::string elements;
  for (std::size_t i = 0; i < count; ++i) {
    elements += i == 0 ? "" : ",";
    elements += R"({"path":"Observation.note"})";
  }
  base::Arena texts;
  DefinitionSet definitions(r4(), texts, "");
  definitions.add("p.json",
                  profile(0, "http://hl7.org/fhir/StructureDefinition/Observation", elements));
  static_cast<void>(definitions.facts());
  return first_error(definitions);
}

TEST(DefinitionLimits, TheElementsOfADefinitionAreBounded) {
  EXPECT_EQ(error_of_elements(limits::kShapeElementsMax - 1), "");
  EXPECT_EQ(error_of_elements(limits::kShapeElementsMax), "");
  EXPECT_NE(error_of_elements(limits::kShapeElementsMax + 1).find("more elements than"),
            std::string::npos);
}

}  // namespace
}  // namespace engine::shapes
