#include "engine/check/state.h"

#include <algorithm>

namespace engine::check {

using shapes::TypeId;

Vocabulary::Vocabulary(const shapes::Catalog& catalog) {
  const auto type = [&](std::string_view name) {
    return catalog.types().find(name).value_or(shapes::kNoType);
  };
  const auto name = [&](std::string_view text) { return catalog.names().find(text); };
  element = type("Element");
  extension = type("Extension");
  reference = type("Reference");
  resource = type("Resource");
  domain_resource = type("DomainResource");
  coding = type("Coding");
  codeable_concept = type("CodeableConcept");
  quantity = type("Quantity");
  attachment = type("Attachment");
  bundle = type("Bundle");
  parameters = type("Parameters");
  observation = type("Observation");
  questionnaire_response = type("QuestionnaireResponse");
  resource_type = name("resourceType");
  id = name("id");
  url = name("url");
  system = name("system");
  code = name("code");
  coding_name = name("coding");
  profile = name("profile");
  meta_name = name("meta");
  contained = name("contained");
  entry = name("entry");
  full_url = name("fullUrl");
  resource_name = name("resource");
  reference_name = name("reference");
  type_name = name("type");
  value = name("value");
  data = name("data");
  size = name("size");
}

namespace {

// The LOINC code that a vital-sign profile fixes in one slice of code.coding; empty when it names
// none.
std::string_view fixed_loinc(const shapes::Shape& shape) {
  std::string_view code;
  bool loinc = false;
  for (const shapes::ShapeElement& element : shape.elements) {
    if (element.fixed == nullptr || element.stem == nullptr ||
        !element.id.starts_with("Observation.code.coding:")) {
      continue;
    }
    loinc =
        loinc || (element.stem->text == "system" && element.fixed->text() == "http://loinc.org");
    if (element.stem->text == "code") {
      code = element.fixed->text();
    }
  }
  return loinc ? code : std::string_view();
}

}  // namespace

Checker::State::State(const shapes::Catalog& from, Evaluation evaluation)
    : catalog(from),
      types(from.types()),
      rules(from, evaluation == Evaluation::kNative),
      plans(from, rules),
      words(from) {
  constexpr std::string_view kVitalSigns = "http://hl7.org/fhir/StructureDefinition/vitalsigns";
  const shapes::Shape* vital_signs_shape = catalog.find_shape(kVitalSigns);
  for (const shapes::Shape* shape : catalog.shapes()) {
    if (vital_signs_shape == nullptr || shape->base != vital_signs_shape ||
        !shape->url.starts_with("http://hl7.org/fhir/StructureDefinition/")) {
      continue;
    }
    const std::string_view loinc = fixed_loinc(*shape);
    if (!loinc.empty()) {
      vital_signs.push_back({loinc, shape});
    }
  }
  std::sort(vital_signs.begin(), vital_signs.end(),
            [](const VitalSign& a, const VitalSign& b) { return a.loinc < b.loinc; });
}

}  // namespace engine::check
