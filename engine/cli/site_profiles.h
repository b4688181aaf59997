#pragma once
// The catalog that a command works with: R4 and our own profiles, the national ones that came with
// the program on demand, and a site's packages and definitions. Compiled packages are kept in a
// cache folder by the hash of their content, and pinned there by name, version and hash.

#include <memory>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/fhir/issue.h"
#include "engine/shapes/catalog.h"

namespace engine::cli {

struct ProfileOptions {
  std::vector<std::string> packages;     // .tgz files
  std::vector<std::string> definitions;  // JSON files, or folders of them
  std::vector<std::string> built_in;     // folders of profiles/ beside "r4": "us-core/9.0.0"
  std::string cache;                     // folder; empty for none
  bool use_cached_packages = true;       // also load what the cache's lock file pins
};

struct SiteProfiles {
  std::unique_ptr<shapes::Catalog> catalog;  // not frozen
  fhir::Issues issues;                       // what was wrong with single definitions
};

// Errors: a file that cannot be read, a package that is refused as a whole, kConflict for a package
// whose content differs from what the cache has pinned under its name and version.
base::Result<SiteProfiles> load_profiles(const ProfileOptions& options);

}  // namespace engine::cli
