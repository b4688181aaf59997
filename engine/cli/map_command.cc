// chartferry map: runs, tests, lints and converts maps; for people and, with --batch, for programs.

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <deque>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <set>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>

#include "engine/cli/commands.h"
#include "engine/cli/files.h"
#include "engine/cli/map_batch.h"
#include "engine/cli/map_bench.h"
#include "engine/cli/map_samples.h"
#include "engine/cli/read_file.h"
#include "engine/json/write.h"
#include "engine/mapping/lint.h"
#include "engine/mapping/parse.h"
#include "engine/mapping/program.h"
#include "engine/mapping/structure_map.h"
#include "engine/therapy/own_reads.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using base::SourceFile;

struct Arguments {
  std::string path;
  std::vector<std::string> sources;
  std::vector<std::string> with;
  std::vector<std::string> packages;
  std::string map;
  std::string group;
  std::string below;
  std::string expected;
  std::string accepted_at = "2026-01-01T00:00:00.000Z";
  bool explain = false;
  bool accept = false;
  bool batch = false;
};

int complain(const Error& error) {
  std::fprintf(stderr, "%s%s%s\n", error.where.c_str(), error.where.empty() ? "" : ": ",
               error.detail.c_str());
  return kUsage;
}

// What the path names and what --with adds.
Result<std::vector<SourceFile>> files_of(const Arguments& arguments) {
  Result<std::vector<SourceFile>> files = read_maps(arguments.path);
  for (const std::string& path : arguments.with) {
    Result<std::vector<SourceFile>> more = read_maps(path);
    if (!files || !more) {
      return files ? std::move(more).error() : std::move(files).error();
    }
    for (SourceFile& file : *more) {
      files->push_back(std::move(file));
    }
  }
  return files;
}

struct Opened {
  std::vector<SourceFile> files;
  MapBench bench;
};

// Whether an import, a table or a structure was not found.
bool misses_something(const std::vector<Error>& problems) {
  return std::any_of(problems.begin(), problems.end(),
                     [](const Error& problem) { return problem.code == ErrorCode::kNotFound; });
}

// A single file whose imports or tables are not found is taken together with its folder. What is
// wrong is printed.
std::unique_ptr<Opened> open(const Arguments& arguments) {
  Result<std::vector<SourceFile>> files = files_of(arguments);
  Result<std::unique_ptr<shapes::Catalog>> loaded = load_map_catalog(arguments.packages);
  if (!files || !loaded) {
    complain(files ? loaded.error() : files.error());
    return nullptr;
  }
  const std::shared_ptr<const shapes::Catalog> catalog = std::move(*loaded);
  std::vector<Error> problems;
  Result<MapBench> bench = MapBench::open(catalog, *files, &problems);
  const std::filesystem::path path(arguments.path);
  std::error_code ignored;
  if (!bench && misses_something(problems) && std::filesystem::is_regular_file(path, ignored)) {
    const std::string folder = path.has_parent_path() ? path.parent_path().string() : ".";
    if (Result<std::vector<SourceFile>> all = read_maps(folder)) {
      *files = std::move(*all);
      problems.clear();
      bench = MapBench::open(catalog, *files, &problems);
    }
  }
  if (!bench) {
    for (const Error& problem : problems) {
      complain(problem);
    }
    return nullptr;
  }
  return std::make_unique<Opened>(Opened{std::move(*files), std::move(*bench)});
}

// --- run

// An element's line: where it is, which rule made it, from what.
void print_lineage(const std::string& lineage) {
  json::NameTable names;
  json::Document document(names);
  if (!document.parse(lineage)) {
    return;
  }
  for (const json::Node& entry : *document.root()) {
    std::string inputs;
    for (const json::Node& input : *entry.find("inputs")) {
      inputs += (inputs.empty() ? "" : ", ") + std::string(input.text());
    }
    std::fprintf(stderr, "%-48s %s (%s) from %s\n", std::string(entry.string_at("output")).c_str(),
                 std::string(entry.string_at("rule")).c_str(),
                 std::string(entry.string_at("name")).c_str(),
                 inputs.empty() ? "nothing" : inputs.c_str());
  }
}

// The first map of the file that was named, or the one asked for by url.
const mapping::MapInfo* chosen_map(const MapBench& bench, const Arguments& arguments) {
  if (!arguments.map.empty()) {
    return bench.maps().find(arguments.map);
  }
  const std::string file = std::filesystem::path(arguments.path).filename().string();
  for (const mapping::MapInfo& info : bench.maps().maps()) {
    if (info.file == file) {
      return &info;
    }
  }
  return bench.maps().maps().size() == 1 ? bench.maps().maps().data() : nullptr;
}

int run_once(const Arguments& arguments) {
  const std::unique_ptr<Opened> opened = open(arguments);
  if (opened == nullptr) {
    return kUsage;
  }
  const MapBench& bench = opened->bench;
  const mapping::MapInfo* map = chosen_map(bench, arguments);
  if (map == nullptr) {
    return complain(Error(ErrorCode::kNotFound, "name the map to run with --map URL"));
  }
  const mapping::GroupInfo* group = mapping::MapSet::find_group(*map, arguments.group);
  if (group == nullptr) {
    return complain(Error(ErrorCode::kNotFound, "the map has no group " + arguments.group));
  }
  std::deque<json::Document> documents;
  std::map<std::string, const json::Node*> read;
  std::vector<const json::Node*> sources;
  for (const std::string& name : arguments.sources) {
    Result<const json::Node*> source =
        read_source(name, documents.emplace_back(bench.catalog().names()));
    if (!source) {
      return complain(source.error());
    }
    sources.push_back(*source);
  }
  Result<MapOutcome> outcome = bench.run(*group, sources, false);
  if (!outcome) {
    complain(outcome.error());
    return kNo;
  }
  for (const mapping::TraceLine& line : outcome->trace) {
    std::fprintf(stderr, "%s: %s\n", line.place.c_str(), line.text.c_str());
  }
  if (arguments.explain) {
    print_lineage(outcome->lineage);
  }
  std::printf("%s\n", outcome->output.c_str());
  return kOk;
}

// --- test, watch

// What a sample must become stands beside it, or under the same name in the folder of --expected.
std::string expected_path(const Arguments& arguments, const std::string& name) {
  return arguments.expected.empty() ? arguments.path + "/" + name
                                    : arguments.expected + name.substr(name.rfind('/'));
}

int test_samples(const Arguments& arguments) {
  const std::unique_ptr<Opened> opened = open(arguments);
  if (opened == nullptr) {
    return kUsage;
  }
  const MapBench& bench = opened->bench;
  std::size_t failed = 0;
  const std::vector<SampleResult> results =
      run_samples(bench, opened->files, arguments.accepted_at, false);
  for (const SampleResult& result : results) {
    const std::string path = expected_path(arguments, result.expected);
    const Result<std::string> expected = read_file(path);
    if (!result.error.empty()) {
      std::printf("FAILED %s\n  %s\n", result.name.c_str(), result.error.c_str());
      ++failed;
    } else if (arguments.accept) {
      Result<void> written = write_file(path, result.got + "\n");
      if (!written) {
        return complain(written.error());
      }
      std::printf("wrote  %s\n", path.c_str());
    } else if (!expected) {
      std::printf("FAILED %s\n  %s is missing: look at the output and accept it with --accept\n",
                  result.name.c_str(), path.c_str());
      ++failed;
    } else if (const std::string lines = difference(*expected, result.got); !lines.empty()) {
      std::printf("FAILED %s (- expected, + got)\n%s", result.name.c_str(), lines.c_str());
      ++failed;
    } else {
      std::printf("ok     %s\n", result.name.c_str());
    }
  }
  std::printf("%zu samples, %zu failed\n", results.size(), failed);
  return failed == 0 ? kOk : kNo;
}

std::filesystem::file_time_type newest(const std::string& path) {
  std::error_code ignored;
  auto latest = std::filesystem::last_write_time(path, ignored);
  for (const auto& entry : std::filesystem::recursive_directory_iterator(path, ignored)) {
    const auto time = entry.last_write_time(ignored);
    latest = std::max(latest, time);
  }
  return latest;
}

int watch(const Arguments& arguments) {
  constexpr auto kPause = std::chrono::milliseconds(300);
  auto seen = newest(arguments.path);
  while (true) {
    test_samples(arguments);
    std::fflush(stdout);
    auto now = newest(arguments.path);
    while (now == seen) {
      std::this_thread::sleep_for(kPause);
      now = newest(arguments.path);
    }
    seen = now;
    std::printf("\n");
  }
}

// --- lint, coverage, convert

int lint_maps(const Arguments& arguments) {
  const std::unique_ptr<Opened> opened = open(arguments);
  if (opened == nullptr) {
    return kUsage;
  }
  const MapBench& bench = opened->bench;
  std::vector<std::string_view> read(std::begin(therapy::kOwnReads), std::end(therapy::kOwnReads));
  read.insert(read.end(), std::begin(therapy::kShownOnly), std::end(therapy::kShownOnly));
  const std::vector<mapping::LintFinding> findings = mapping::lint(
      bench.maps(), {.below = arguments.below, .called = therapy::kCalledGroups, .read = read});
  for (const mapping::LintFinding& finding : findings) {
    std::printf("%s%s%s: %s\n", finding.place.c_str(), finding.place.empty() ? "" : ": ",
                finding.kind.c_str(), finding.text.c_str());
  }
  std::printf("%zu maps, %zu findings\n", bench.maps().maps().size(), findings.size());
  return findings.empty() ? kOk : kNo;
}

// A rule that makes elements of its own; others are only seen to fire in samples of a single map.
bool makes_elements(const mapping::Rule& rule) {
  return std::any_of(rule.targets.begin(), rule.targets.end(), [](const mapping::Target& target) {
    return target.transform || (target.path && !target.path->elements.empty());
  });
}

int cover(const Arguments& arguments) {
  const std::unique_ptr<Opened> opened = open(arguments);
  if (opened == nullptr) {
    return kUsage;
  }
  const MapBench& bench = opened->bench;
  const std::vector<mapping::RuleInfo>& rules = bench.maps().program().rules;
  std::vector<bool> fired(rules.size());
  std::set<std::string> makers;
  for (const SampleResult& result :
       run_samples(bench, opened->files, arguments.accepted_at, true)) {
    if (!result.error.empty()) {
      std::printf("FAILED %s\n  %s\n", result.name.c_str(), result.error.c_str());
    }
    for (std::size_t i = 0; i < result.fired.size(); ++i) {
      fired[i] = fired[i] || result.fired[i];
    }
    makers.insert(result.makers.begin(), result.makers.end());
  }
  std::map<std::string, std::pair<std::size_t, std::size_t>> by_file;
  for (std::size_t i = 0; i < rules.size(); ++i) {
    const mapping::Map& map = rules[i].map->map;
    const std::string line = map.file + ":" + std::to_string(rules[i].rule->place.line);
    if (makers.count(line) != 0) {
      fired[i] = true;
    } else if (!fired[i] && !makers.empty() && !makes_elements(*rules[i].rule)) {
      continue;
    }
    auto& [count, all] = by_file[map.file];
    ++all;
    count += fired[i] ? 1U : 0U;
    if (!fired[i]) {
      std::printf("%s: no sample fires the rule %s of group %s\n",
                  mapping::place_text(map.file, rules[i].rule->place).c_str(),
                  rules[i].rule->name.c_str(), rules[i].group->name.c_str());
    }
  }
  bool whole = true;
  for (const auto& [file, counts] : by_file) {
    std::printf("%5.1f %% %s (%zu of %zu rules)\n",
                100.0 * static_cast<double>(counts.first) / static_cast<double>(counts.second),
                file.c_str(), counts.first, counts.second);
    whole = whole && counts.first == counts.second;
  }
  return whole ? kOk : kNo;
}

int convert(const Arguments& arguments) {
  Result<std::string> bytes = read_file(arguments.path);
  if (!bytes) {
    return complain(bytes.error());
  }
  Result<mapping::Map> map = mapping::parse_map(*bytes, arguments.path);
  if (!map) {
    return complain(map.error());
  }
  Result<std::string> json = mapping::write_structure_map(*map);
  if (!json) {
    return complain(json.error());
  }
  json::NameTable names;
  json::Document document(names);
  if (Result<void> parsed = document.parse(*json); !parsed) {
    return complain(parsed.error());
  }
  std::printf("%s\n", json::to_pretty_text(*document.root()).c_str());
  return kOk;
}

}  // namespace

int run_map(int argc, char** argv) {
  Arguments arguments;
  CLI::App app{"Runs and checks maps of the FHIR mapping language.", "chartferry map"};
  app.add_flag("--batch", arguments.batch,
               "read {\"id\",\"map\",\"source\"} a line, answer {\"id\",\"result\"} a line");
  app.require_subcommand(0, 1);
  std::function<int(const Arguments&)> chosen;
  const auto add = [&](const char* name, const char* purpose, const char* what,
                       int (*act)(const Arguments&)) {
    CLI::App* command = app.add_subcommand(name, purpose);
    command->add_option("path", arguments.path, what)->required();
    command->add_option("--with", arguments.with, "further maps and tables, files or folders");
    command->add_option("--package", arguments.packages, "a FHIR package (.tgz) with more types");
    command->callback([&chosen, act] { chosen = act; });
    return command;
  };
  CLI::App* run =
      add("run", "run one map on a source and print what it makes", "the map", run_once);
  run->add_option("--source", arguments.sources,
                  "a JSON document, FILE or FILE#/json/pointer; one for each source input")
      ->required();
  run->add_option("--map", arguments.map, "url of the map, when the path is a folder");
  run->add_option("--group", arguments.group, "the group to run; the first when not named");
  run->add_flag("--explain", arguments.explain,
                "print for every element which rule made it from what");
  CLI::App* test =
      add("test", "run the samples of a folder and show what differs", "the folder", test_samples);
  test->add_flag("--accept", arguments.accept, "write what comes out as what is expected");
  test->add_option("--expected", arguments.expected,
                   "the folder of what must come out, when it is not beside the samples");
  test->add_option("--accepted-at", arguments.accepted_at,
                   "FHIR instant at which session documents are taken in");
  add("watch", "test again whenever a file changes", "the folder", watch);
  CLI::App* lint = add("lint", "groups and rules without effect, fields that no rule reads",
                       "a map or a folder", lint_maps);
  lint->add_option("--below", arguments.below, "only fields below this path of the source model");
  add("coverage", "rules that no sample fires", "the folder", cover);
  add("convert", "mapping language to StructureMap JSON", "the map", convert);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? kOk : kUsage;
  }
  if (arguments.batch) {
    return run_map_batch();
  }
  if (!chosen) {
    std::fprintf(stderr, "%s", app.help().c_str());
    return kUsage;
  }
  return chosen(arguments);
}

}  // namespace engine::cli
