#pragma once
// A package compiled to fact files.

#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/fhir/issue.h"
#include "engine/shapes/catalog.h"
#include "engine/shapes/package.h"

namespace engine::shapes {

struct CompiledPackage {
  std::string id;  // "name#version"
  // types.facts, profiles.facts, extensions.facts, code-systems.facts, value-sets.facts; an empty
  // one is left out.
  std::vector<base::SourceFile> files;
  std::string all;      // everything in one fact file, for a cache
  fhir::Issues issues;  // an error names a definition that is not in the files
  std::size_t shapes = 0;
  std::size_t code_systems = 0;
  std::size_t value_sets = 0;
};

struct CompileOptions {
  bool ignore_published_snapshots = false;
  // A set with more listed codes is left out: it belongs to a terminology service.
  std::size_t value_set_codes_max = 1'500;
};

// `known` holds what the package depends on; for the core package itself it is empty.
CompiledPackage compile_package(const FhirPackage& package, const Catalog& known,
                                const CompileOptions& options = {});

}  // namespace engine::shapes
