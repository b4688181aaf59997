#pragma once
// The samples of a folder of maps: what goes in and what must come out.
//   samples/NAME.in.json with NAME.out.json: the map NAME.map (up to the first dot), first group
//   samples/NAME.session.json with NAME.bundle.json: the whole translation of a session document,
//   and the Bundle conforms

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/seams.h"

namespace engine::cli {

struct MapWork;
struct MapSample;

// By its name: a file of a folder samples/ that something is made of.
bool is_sample(std::string_view name);

struct SampleResult {
  const MapSample* sample = nullptr;
  std::string expected;  // the file beside it, relative to its folder
  std::string got;       // JSON with line breaks; empty when nothing was made
  // Why it failed, whatever is expected: a map broke, a code has no translation, the Bundle does
  // not conform.
  std::vector<std::string> faults;
  std::size_t errors = 0;    // of a session's issues
  std::size_t warnings = 0;  // likewise
  bool is_session = false;
  std::vector<bool> fired;  // by the rule's number in the set, when coverage is wanted
};

// Runs every sample. `accepted_at` (a FHIR instant) is when session documents are taken in; empty:
// when each of them ends, as `chartferry session` and a running engine take samples.
std::vector<SampleResult> run_samples(const MapWork& work, const std::string& accepted_at,
                                      bool coverage);

// The lines that differ, with two lines around them: "- expected", "+ got". Empty when the texts
// are the same JSON, members in any order.
std::string difference(const std::string& expected, const std::string& got);

}  // namespace engine::cli
