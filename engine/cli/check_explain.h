#pragma once
// `chartferry check --explain`: for chosen values of a resource, which definition says what.

#include <span>
#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/check/check.h"
#include "engine/json/document.h"

namespace engine::cli {

struct ExplainRequest {
  std::string_view expression;                 // FHIRPath that picks the values
  std::span<const std::string_view> profiles;  // asked for besides the claims
  bool as_json = false;
};

// One part a value, at most limits::kExplainedValuesMax: where it stands, the definitions in force
// with the reason, the slices it is in, and what each definition from the base type down says of
// its element. As JSON one object a line. `text` is what the document was parsed from. Errors:
// kInvalid for an expression that does not compile or fails, kNotFound when it picks no element.
base::Result<std::string> explain_values(const check::Checker& checker,
                                         const json::Document& document, std::string_view text,
                                         const ExplainRequest& request);

}  // namespace engine::cli
