#pragma once
// The samples of a folder of maps: what goes in and what must come out.
//   samples/NAME.in.json with NAME.out.json: the map NAME.map (up to the first dot), first group
//   samples/NAME.session.json with NAME.bundle.json: the whole translation of a session document

#include <set>
#include <span>
#include <string>
#include <vector>

#include "engine/base/seams.h"
#include "engine/cli/map_bench.h"

namespace engine::cli {

struct SampleResult {
  std::string name;      // relative to the folder
  std::string expected;  // the file beside it, relative to the folder
  std::string got;       // JSON with line breaks; empty when `error` is set
  std::string error;
  std::vector<bool> fired;       // by rule number, of a map's own sample
  std::set<std::string> makers;  // "file:line" of the rules that made something, of a session's
};

// Runs every sample of the folder's files. Translation is a pure function of its inputs, and the
// time of acceptance (a FHIR instant) is one of them.
std::vector<SampleResult> run_samples(const MapBench& bench,
                                      std::span<const base::SourceFile> files,
                                      const std::string& accepted_at, bool coverage);

// The lines that differ, with two lines around them: "- expected", "+ got". Empty when the texts
// are the same JSON, members in any order.
std::string difference(const std::string& expected, const std::string& got);

}  // namespace engine::cli
