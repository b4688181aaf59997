#pragma once
// The compiled facts of profiles/, read from the source tree once for all tests.

#include <string>
#include <vector>

#include "engine/base/seams.h"
#include "engine/shapes/catalog.h"

namespace engine::shapes {

// Every ".facts" file of profiles/<folder>.
std::vector<base::SourceFile> fact_files(const std::string& folder);
// A whole file; empty when it is not there.
std::string file_bytes(const std::string& path);
// R4 alone; loaded once.
const Catalog& r4();
std::unique_ptr<Catalog> new_r4();

}  // namespace engine::shapes
