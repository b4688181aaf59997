#pragma once
// Reading a FHIR package (.tgz) from bytes in memory. Hostile archives are refused: links, devices,
// paths that leave the archive, too many or too large files, packing ratios made to fill memory.
// Nothing is ever written to disk or run. Source: FHIR packages (npm layout), FHIR R5
// packages.html.

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"

namespace engine::shapes {

struct FhirPackage {
  std::string name;     // "hl7.fhir.us.core"
  std::string version;  // semantic version
  std::string canonical;
  std::vector<std::string> fhir_versions;
  std::vector<std::pair<std::string, std::string>> dependencies;  // name, version
  // The definitions: JSON files of the package, examples and indexes left out. Names are relative
  // to the package ("StructureDefinition-x.json"). Sorted by name.
  std::vector<base::SourceFile> files;

  std::string id() const { return name + "#" + version; }
  // Dependencies as ids, "name#version".
  std::vector<std::string> dependency_ids() const;
};

// Errors: kInvalid (not a gzipped tar, no package.json, a path or an entry of a refused kind),
// kLimit (limits::kPackage...), kUnsupported (no FHIR 4.0 among the package's FHIR versions).
base::Result<FhirPackage> read_package(std::string_view tgz);

// One row of what a package holds.
struct IndexEntry {
  std::string file;
  std::string resource_type;
  std::string id;
  std::string url;
  std::string version;  // the resource's own, else the package's
  std::string kind;     // of a StructureDefinition
  std::string type;     // likewise
};
// Made from the files themselves: an index that came in the package may be missing or wrong. Files
// that hold no resource are left out.
std::vector<IndexEntry> index_package(const FhirPackage& package);

}  // namespace engine::shapes
