#pragma once
// The workbench behind `chartferry map`: the published types, a folder of maps compiled against
// them, and running one group on documents from files.

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/json/document.h"
#include "engine/mapping/mapping.h"
#include "engine/shapes/catalog.h"
#include "engine/therapy/rendering.h"

namespace engine::cli {

// R4, the session document's model and our own profiles, and the packages named by paths. Names are
// still open, so that documents may be parsed at any time. Errors: kIo, kInvalid, kLimit.
base::Result<std::unique_ptr<shapes::Catalog>> load_map_catalog(
    const std::vector<std::string>& packages);
// The profiles that a site's translator takes, with the packages. Errors: as above.
base::Result<std::unique_ptr<shapes::Catalog>> load_site_catalog(
    std::span<const base::SourceFile> profiles, const std::vector<std::string>& packages);

// A map file, or everything below a folder, names relative to the folder. Errors: kIo, kLimit.
base::Result<std::vector<base::SourceFile>> read_maps(const std::string& path);

struct MapOutcome {
  std::string compact;  // JSON on one line
  std::string output;   // the same with line breaks
  std::string lineage;  // JSON array
  std::vector<mapping::TraceLine> trace;
  std::vector<bool> fired;  // by rule number, when coverage was asked
};

class MapBench {
 public:
  // `settings` give the constants that maps may read. Errors: the first thing that is wrong with
  // the set; `problems` receives all.
  static base::Result<MapBench> open(std::shared_ptr<const shapes::Catalog> catalog,
                                     std::span<const base::SourceFile> files,
                                     const therapy::Settings& settings = {},
                                     std::vector<base::Error>* problems = nullptr);

  const mapping::MapSet& maps() const { return *maps_; }
  const shapes::Catalog& catalog() const { return *catalog_; }

  // Runs a group on its sources, in order; each target input gets a new object of its type, and the
  // last one is the output. Errors: kInvalid, kNotFound, kLimit with the place in the map.
  base::Result<MapOutcome> run(const mapping::GroupInfo& group,
                               std::span<const json::Node* const> sources, bool coverage) const;

 private:
  MapBench() = default;

  std::shared_ptr<const shapes::Catalog> catalog_;
  std::unique_ptr<mapping::MapSet> maps_;
  // What the functions of the session maps are given when there is no session around them.
  std::unique_ptr<therapy::Workshop> workshop_;
  std::unique_ptr<therapy::MapContext> context_;
};

// "file.json" or "file.json#/entry/3"; the node stays in `document`. Errors: kIo, kInvalid,
// kNotFound.
base::Result<const json::Node*> read_source(const std::string& name, json::Document& document);

}  // namespace engine::cli
