#pragma once
// `chartferry check --batch`: {"id","resource","profile"?,"supporting"?} in, {"id","outcome"} out.

#include <span>
#include <string>

#include "engine/cli/check_catalog.h"

namespace engine::cli {

struct CheckBatchOptions {
  std::span<const std::string_view> profiles;  // for every line
  std::string now;
  bool notes = true;
};

// Definitions among a line's supporting resources (StructureDefinition, ValueSet, CodeSystem) are
// added to the shapes for that line; the others are what references may point at.
int run_check_batch(const CheckPackages& packages, const CheckBatchOptions& options);

}  // namespace engine::cli
