#pragma once
// What a map command works on: a map or a folder of maps, or all that an engine of a site takes,
// our maps with a country's and the site's over them, their profiles and the site's settings.

#include <memory>
#include <string>
#include <vector>

#include "engine/cli/map_bench.h"
#include "engine/therapy/translate.h"

namespace engine::cli {

struct MapPlace {
  std::string path;                   // a map or a folder; empty with a site
  std::string site;                   // a site's directory, see site_files()
  std::string overlay;                // a country's, under the site's
  std::vector<std::string> with;      // further maps and tables, files or folders
  std::vector<std::string> packages;  // FHIR packages with more types
};

struct MapSample {
  base::SourceFile file;  // name relative to the folder of maps: "samples/..."
  // The folder that what must come out stands below under a name like the file's. Empty: it came
  // with the program, and only has to conform, since a site may make something else of it.
  std::string expected_below;
};

struct MapWork {
  therapy::Sources sources;  // as a translator takes them
  std::vector<MapSample> samples;
  MapBench bench;
};

// nullptr when it cannot be: what is wrong is printed then, each problem on a line of its own. A
// single file whose imports or tables are not found is taken together with its folder.
std::unique_ptr<MapWork> open_maps(const MapPlace& place);

// Prints "where: what" to the standard error; the exit code of unusable input.
int complain(const base::Error& error);

}  // namespace engine::cli
