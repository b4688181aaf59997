#pragma once
// What `chartferry map` says of a whole set of maps: its samples, its rules, what nothing reads.

#include <string>

#include "engine/cli/map_work.h"

namespace engine::cli {

struct TestOptions {
  std::string expected;     // the folder of what must come out, when it is not beside the samples
  std::string accepted_at;  // FHIR instant; empty: when each session document ends
  bool accept = false;      // write what comes out as what is expected
};

// Each prints its report and gives the exit code.
int test_maps(const MapPlace& place, const TestOptions& options);
// Tests again whenever a file changes; ends with the program.
int watch_maps(const MapPlace& place, const TestOptions& options);
// `below`: only fields of the source model under this path.
int lint_maps(const MapPlace& place, const std::string& below);
// `each`: every rule with the number of samples that it fired in, not only those that never did.
int cover_maps(const MapPlace& place, const std::string& accepted_at, bool each);

}  // namespace engine::cli
