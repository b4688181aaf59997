#pragma once
// The published shapes that `chartferry check` checks against: what came with the program, the
// packages named by the user, and definitions that come with a request.

#include <memory>
#include <span>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/check/check.h"
#include "engine/fhir/issue.h"
#include "engine/shapes/catalog.h"

namespace engine::cli {

// A catalog, frozen, with the checker over it.
struct CheckShapes {
  std::unique_ptr<shapes::Catalog> catalog;
  std::unique_ptr<check::Checker> checker;
  fhir::Issues issues;  // what was wrong with the definitions; those in error are left out
};

// `packages` are paths of FHIR packages, read once and kept by the caller's CheckPackages.
class CheckPackages {
 public:
  // A path of a .tgz, or the name of a set that came with the program ("us-core").
  // Errors: kIo, kInvalid, kLimit, kUnsupported.
  base::Result<void> add(const std::string& path);

  // Errors: kInvalid when the program's own facts do not load.
  base::Result<CheckShapes> load(std::span<const base::SourceFile> definitions = {}) const;

 private:
  struct Loaded {
    std::string id;
    std::vector<base::SourceFile> files;
  };
  std::vector<std::string> embedded_;
  std::vector<Loaded> packages_;
};

}  // namespace engine::cli
