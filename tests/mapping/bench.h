#pragma once
// What every test of maps needs: the published R4 types, loaded once, and one call that compiles a
// map and runs its first group from a source to a new target.

#include <string>
#include <string_view>
#include <vector>

#include "engine/mapping/mapping.h"
#include "engine/shapes/catalog.h"

namespace engine::mapping::testing {

// R4, and a logical model "Reading" of our own (elements: kind code, level decimal, part* { label
// string, size integer }).
const shapes::Catalog& catalog();

// A map with the R4 uses that the tests need; `body` is groups and whatever stands before them.
std::string map_text(std::string_view body);

struct Answer {
  std::string result;  // compact JSON, or "error: ..." with the place
  std::string lineage;
  std::vector<std::string> trace;
};

struct Bench {
  std::vector<base::SourceFile> files;
  LoadOptions load;
  RunOptions run;

  Answer operator()(std::string_view source) const;
};

// One case of a file of cases:
//   == what it shows
//   groups (a head with the R4 uses is put before them; "map ..." or "///" first means the text is
//   whole)
//   -- source
//   JSON
//   -- result
//   JSON, or "error: ..."
struct Case {
  std::string name;
  std::string map;
  std::string source;
  std::string result;
};
std::vector<Case> read_cases(const std::string& path);

// The result of one map, alone.
std::string run_map(std::string_view map, std::string_view source);
// What loading the map says: "ok", or "line:column text".
std::string load_map(std::string_view map);

}  // namespace engine::mapping::testing
