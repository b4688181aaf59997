#pragma once
// What a Checker knows beyond the catalog, and what a Scratch keeps from call to call.

#include <string_view>
#include <unordered_map>
#include <utility>
#include <vector>

#include "engine/check/check.h"
#include "engine/check/plan.h"
#include "engine/check/report.h"
#include "engine/check/rules.h"

namespace engine::check {

// Types and names that the walk treats by themselves.
struct Vocabulary {
  explicit Vocabulary(const shapes::Catalog& catalog);

  shapes::TypeId element, extension, reference, resource, domain_resource, coding, codeable_concept,
      quantity, attachment, bundle, parameters, observation, questionnaire_response;
  const json::Name *resource_type, *id, *url, *system, *code, *coding_name, *profile, *meta_name,
      *contained, *entry, *full_url, *resource_name, *reference_name, *type_name, *value, *data,
      *size;
};

// The profile that R4 asks of an Observation with a LOINC code.
struct VitalSign {
  std::string_view loinc;
  const shapes::Shape* shape;
};

struct Checker::State {
  State(const shapes::Catalog& from, Evaluation evaluation);

  const shapes::Catalog& catalog;
  const shapes::TypeModel& types;
  Rules rules;
  Plans plans;
  Vocabulary words;
  std::vector<VitalSign> vital_signs;  // sorted by code
};

// Entries of the Bundles on the way down, by fullUrl; made when a reference asks.
struct BundleIndex {
  const json::Node* bundle = nullptr;
  std::unordered_map<std::string_view, const json::Node*> entries;  // nullptr: ambiguous
};

struct Scratch::State {
  Report report;
  fhirpath::Workspace workspace;
  std::vector<BundleIndex> bundles;
  // Speculations under way and their subjects, to end circles.
  std::vector<std::pair<const json::Node*, const ElementPlan*>> asking;
};

}  // namespace engine::check
