#pragma once
// The order in which packages are added, and what they miss. Versions are exact; only the patch may
// be left open ("4.0.x": the highest patch at hand). Labels such as "current" or "latest" name no
// version and are refused. Source: FHIR packages (dependencies).

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "engine/fhir/issue.h"
#include "engine/shapes/catalog.h"
#include "engine/shapes/package.h"

namespace engine::shapes {

struct PackageOrder {
  std::vector<const FhirPackage*> packages;  // what is depended on comes first
  // Errors: packages that depend on one another, a label in place of a version, two packages of the
  // same name and version; those packages are not in the order. Warnings: a dependency that is
  // neither given nor loaded.
  fhir::Issues issues;
};

PackageOrder order_packages(std::span<const FhirPackage> packages, const Catalog& loaded);

// Whether a package of this version answers a dependency on that one.
bool version_answers(std::string_view version, std::string_view wanted);

}  // namespace engine::shapes
