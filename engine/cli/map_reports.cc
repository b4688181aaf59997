#include "engine/cli/map_reports.h"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <iterator>
#include <map>
#include <string_view>
#include <thread>
#include <utility>
#include <vector>

#include "engine/base/check.h"
#include "engine/cli/commands.h"
#include "engine/cli/files.h"
#include "engine/cli/map_samples.h"
#include "engine/cli/read_file.h"
#include "engine/mapping/lint.h"
#include "engine/mapping/program.h"
#include "engine/therapy/own_reads.h"

namespace engine::cli {
namespace {

using base::Result;

// --- test, watch

// What a sample must become stands beside it, or under the same name in the folder of --expected;
// empty when nothing is expected.
std::string expected_path(const TestOptions& options, const SampleResult& result) {
  if (!options.expected.empty()) {
    return options.expected + result.expected.substr(result.expected.rfind('/'));
  }
  const std::string& below = result.sample->expected_below;
  return below.empty()
             ? std::string()
             : (std::filesystem::path(below) / result.expected).lexically_normal().string();
}

// Why the sample fails, line by line; empty when it does not.
std::string failure_of(const SampleResult& result, const std::string& path) {
  std::string text;
  if (!result.faults.empty()) {
    for (const std::string& fault : result.faults) {
      text += "\n  " + fault;
    }
    return text + "\n";
  }
  if (path.empty()) {
    return {};
  }
  const Result<std::string> expected = read_file(path);
  if (!expected) {
    return "\n  " + path + " is missing: look at the output and accept it with --accept\n";
  }
  const std::string lines = difference(*expected, result.got);
  return lines.empty() ? lines : " (- expected, + got)\n" + lines;
}

void print_totals(const std::vector<SampleResult>& results, std::size_t failed) {
  std::size_t sessions = 0;
  std::size_t errors = 0;
  std::size_t warnings = 0;
  for (const SampleResult& result : results) {
    sessions += result.is_session ? 1U : 0U;
    errors += result.errors;
    warnings += result.warnings;
  }
  std::printf("%zu samples, %zu failed", results.size(), failed);
  if (sessions > 0) {
    std::printf("; %zu bundles checked, %zu errors, %zu warnings", sessions, errors, warnings);
  }
  std::printf("\n");
}

// The newest change below the folders; a folder that is not there is as old as time.
std::filesystem::file_time_type newest(const MapPlace& place) {
  const std::string& path = place.site.empty() ? place.path : place.site;
  std::error_code ignored;
  auto latest = std::filesystem::last_write_time(path, ignored);
  for (const auto& entry : std::filesystem::recursive_directory_iterator(path, ignored)) {
    const auto time = entry.last_write_time(ignored);
    latest = std::max(latest, time);
  }
  return latest;
}

}  // namespace

int test_maps(const MapPlace& place, const TestOptions& options) {
  const std::unique_ptr<MapWork> work = open_maps(place);
  if (work == nullptr) {
    return kUsage;
  }
  std::size_t failed = 0;
  const std::vector<SampleResult> results = run_samples(*work, options.accepted_at, false);
  for (const SampleResult& result : results) {
    const char* name = result.sample->file.name.c_str();
    const std::string path = expected_path(options, result);
    if (options.accept && result.faults.empty() && !path.empty()) {
      Result<void> written = write_file(path, result.got + "\n");
      if (!written) {
        return complain(written.error());
      }
      std::printf("wrote  %s\n", path.c_str());
      continue;
    }
    const std::string failure = failure_of(result, path);
    failed += failure.empty() ? 0U : 1U;
    if (failure.empty()) {
      std::printf("ok     %s\n", name);
    } else {
      std::printf("FAILED %s%s", name, failure.c_str());
    }
  }
  print_totals(results, failed);
  return failed == 0 ? kOk : kNo;
}

int watch_maps(const MapPlace& place, const TestOptions& options) {
  constexpr auto kPause = std::chrono::milliseconds(300);
  auto seen = newest(place);
  while (true) {
    test_maps(place, options);
    std::fflush(stdout);
    auto now = newest(place);
    while (now == seen) {
      std::this_thread::sleep_for(kPause);
      now = newest(place);
    }
    seen = now;
    std::printf("\n");
  }
}

// --- lint

int lint_maps(const MapPlace& place, const std::string& below) {
  const std::unique_ptr<MapWork> work = open_maps(place);
  if (work == nullptr) {
    return kUsage;
  }
  const mapping::MapSet& maps = work->bench.maps();
  std::vector<std::string_view> read(std::begin(therapy::kOwnReads), std::end(therapy::kOwnReads));
  read.insert(read.end(), std::begin(therapy::kShownOnly), std::end(therapy::kShownOnly));
  const std::vector<mapping::LintFinding> findings =
      mapping::lint(maps, {.below = below, .called = therapy::kCalledGroups, .read = read});
  for (const mapping::LintFinding& finding : findings) {
    std::printf("%s%s%s: %s\n", finding.place.c_str(), finding.place.empty() ? "" : ": ",
                finding.kind.c_str(), finding.text.c_str());
  }
  std::printf("%zu maps, %zu findings\n", maps.maps().size(), findings.size());
  return findings.empty() ? kOk : kNo;
}

// --- coverage

namespace {

std::string told(const mapping::RuleInfo& rule) {
  return mapping::place_text(rule.map->map.file, rule.rule->place) + ": rule " + rule.rule->name +
         " of group " + rule.group->name;
}

}  // namespace

int cover_maps(const MapPlace& place, const std::string& accepted_at, bool each) {
  const std::unique_ptr<MapWork> work = open_maps(place);
  if (work == nullptr) {
    return kUsage;
  }
  const auto& rules = work->bench.maps().program().rules;
  std::vector<std::size_t> fired_in(rules.size());  // samples
  bool whole = true;
  for (const SampleResult& result : run_samples(*work, accepted_at, true)) {
    for (const std::string& fault : result.faults) {
      std::printf("FAILED %s\n  %s\n", result.sample->file.name.c_str(), fault.c_str());
      whole = false;
    }
    // A rule's number is that of its place in the files, whoever compiles them.
    ENGINE_CHECK(result.fired.size() <= rules.size());
    for (std::size_t i = 0; i < result.fired.size(); ++i) {
      fired_in[i] += result.fired[i] ? 1U : 0U;
    }
  }
  struct Count {
    std::size_t fired = 0;
    std::size_t all = 0;
  };
  std::map<std::string, Count> by_file;
  for (std::size_t i = 0; i < rules.size(); ++i) {
    Count& count = by_file[rules[i].map->map.file];
    ++count.all;
    count.fired += fired_in[i] > 0 ? 1U : 0U;
    if (fired_in[i] == 0) {
      std::printf("%s fires in no sample\n", told(rules[i]).c_str());
    } else if (each) {
      std::printf("%s fires in %zu\n", told(rules[i]).c_str(), fired_in[i]);
    }
  }
  for (const auto& [file, count] : by_file) {
    const std::size_t tenths = count.fired * 1'000 / count.all;  // down, so that 100 means all
    std::printf("%3zu.%zu %% %s (%zu of %zu rules)\n", tenths / 10, tenths % 10, file.c_str(),
                count.fired, count.all);
    whole = whole && count.fired == count.all;
  }
  return whole ? kOk : kNo;
}

}  // namespace engine::cli
