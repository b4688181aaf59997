#pragma once
// Issue: a statement about data that is wrong (or worth a look), collected and never thrown. A list
// of them becomes an OperationOutcome (FHIR R4). Wording is for the person who has to act: what was
// found, what is allowed, what to do.

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "engine/json/document.h"

namespace engine::fhir {

// FHIR R4 issue-severity.
enum class Severity : std::uint8_t { kFatal, kError, kWarning, kInformation };
std::string_view name_of(Severity severity);

struct Issue {
  Severity severity = Severity::kError;
  std::string code;  // FHIR R4 issue-type, e.g. "structure", "required", "value", "invariant",
                     // "code-invalid"
  std::string expression;  // FHIRPath of the element, "Observation.component[1].value"; empty when
                           // none applies
  std::string text;  // the sentence shown to people; holds no patient data beyond the value found
  std::string rule;  // the constraint key, map rule or plausibility row behind it; may be empty
  std::optional<json::Position> position;  // in the text it was read from
};
using Issues = std::vector<Issue>;

bool has_errors(std::span<const Issue> issues);

// Compact JSON of the OperationOutcome. An empty list becomes one information issue that says "all
// is well", because the resource needs at least one. details.text carries the text, diagnostics
// "line:column" when known.
std::string to_operation_outcome(std::span<const Issue> issues);

}  // namespace engine::fhir
