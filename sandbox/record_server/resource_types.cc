#include "sandbox/record_server/resource_types.h"

#include <algorithm>

namespace sandbox::record_server {

const std::vector<std::string_view>& resource_types() {
  static const std::vector<std::string_view> types = {"AuditEvent",
                                                      "Binary",
                                                      "CarePlan",
                                                      "CareTeam",
                                                      "ClinicalImpression",
                                                      "CodeSystem",
                                                      "Communication",
                                                      "Composition",
                                                      "ConceptMap",
                                                      "Condition",
                                                      "Consent",
                                                      "Device",
                                                      "DeviceMetric",
                                                      "DeviceUseStatement",
                                                      "DiagnosticReport",
                                                      "DocumentReference",
                                                      "Encounter",
                                                      "Flag",
                                                      "Goal",
                                                      "Group",
                                                      "List",
                                                      "Location",
                                                      "Media",
                                                      "Observation",
                                                      "Organization",
                                                      "Patient",
                                                      "Practitioner",
                                                      "PractitionerRole",
                                                      "Procedure",
                                                      "Provenance",
                                                      "Questionnaire",
                                                      "QuestionnaireResponse",
                                                      "RelatedPerson",
                                                      "RiskAssessment",
                                                      "ServiceRequest",
                                                      "StructureDefinition",
                                                      "Task",
                                                      "ValueSet"};
  return types;
}

bool is_resource_type(std::string_view name) {
  const auto& types = resource_types();
  return std::find(types.begin(), types.end(), name) != types.end();
}

bool is_id(std::string_view text) {
  return !text.empty() && text.size() <= 64 && std::all_of(text.begin(), text.end(), [](char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' ||
           c == '.';
  });
}

}  // namespace sandbox::record_server
