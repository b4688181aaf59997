// chartferry map: runs, tests, lints and converts maps; for people and, with --batch, for programs.

#include <cstdio>
#include <deque>
#include <filesystem>
#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>

#include "engine/cli/commands.h"
#include "engine/cli/map_batch.h"
#include "engine/cli/map_reports.h"
#include "engine/cli/map_work.h"
#include "engine/cli/read_file.h"
#include "engine/json/write.h"
#include "engine/mapping/parse.h"
#include "engine/mapping/structure_map.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

struct Arguments {
  MapPlace place;
  std::vector<std::string> sources;
  std::string map;
  std::string group;
  std::string below;
  TestOptions test;
  bool explain = false;
  bool each_rule = false;
  bool batch = false;
};

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
  const std::string file = std::filesystem::path(arguments.place.path).filename().string();
  for (const mapping::MapInfo& info : bench.maps().maps()) {
    if (info.file == file) {
      return &info;
    }
  }
  return bench.maps().maps().size() == 1 ? bench.maps().maps().data() : nullptr;
}

int run_once(const Arguments& arguments) {
  const std::unique_ptr<MapWork> work = open_maps(arguments.place);
  if (work == nullptr) {
    return kUsage;
  }
  const MapBench& bench = work->bench;
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
  std::printf("%s", outcome->output.c_str());
  return kOk;
}

// --- convert

int convert(const Arguments& arguments) {
  Result<std::string> bytes = read_file(arguments.place.path);
  if (!bytes) {
    return complain(bytes.error());
  }
  Result<mapping::Map> map = mapping::parse_map(*bytes, arguments.place.path);
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
  std::printf("%s", json::to_pretty_text(*document.root()).c_str());
  return kOk;
}

int test(const Arguments& arguments) {
  return test_maps(arguments.place, arguments.test);
}
int watch(const Arguments& arguments) {
  return watch_maps(arguments.place, arguments.test);
}
int lint(const Arguments& arguments) {
  return lint_maps(arguments.place, arguments.below);
}
int cover(const Arguments& arguments) {
  return cover_maps(arguments.place, arguments.test.accepted_at, arguments.each_rule);
}

// The commands as they are asked for; the one that is chosen is left in `chosen`.
class Commands {
 public:
  Commands(CLI::App& app, Arguments& arguments) : app_(app), arguments_(arguments) {}

  int (*chosen)(const Arguments&) = nullptr;

  CLI::App* add(const char* name, const char* purpose, const char* what,
                int (*act)(const Arguments&)) {
    CLI::App* command = of_one(name, purpose, act);
    command->add_option("path", arguments_.place.path, what)->required();
    return command;
  }
  // Of a whole set: a folder, or a site.
  CLI::App* add_of_set(const char* name, const char* purpose, int (*act)(const Arguments&)) {
    CLI::App* command = of_one(name, purpose, act);
    command->add_option("path", arguments_.place.path, "the folder");
    command->add_option("--site", arguments_.place.site,
                        "instead of a folder: a site's directory (mappings/, profiles/, "
                        "settings.json) over what came with the program");
    command->add_option("--overlay", arguments_.place.overlay,
                        "with --site: a country's maps and profiles under the site's, us-core, "
                        "us-core/9.0.0, us-core/3.1.0");
    return command;
  }
  void add_samples(CLI::App* command) {
    command->add_option("--expected", arguments_.test.expected,
                        "the folder of what must come out, when it is not beside the samples");
    add_accepted_at(command);
  }
  void add_accepted_at(CLI::App* command) {
    command->add_option("--accepted-at", arguments_.test.accepted_at,
                        "FHIR instant at which session documents are taken in (default: when each "
                        "of them ends)");
  }

 private:
  CLI::App* of_one(const char* name, const char* purpose, int (*act)(const Arguments&)) {
    CLI::App* command = app_.add_subcommand(name, purpose);
    command->add_option("--with", arguments_.place.with,
                        "further maps and tables, files or folders");
    command->add_option("--package", arguments_.place.packages,
                        "a FHIR package (.tgz) with more types");
    command->callback([this, act] { chosen = act; });
    return command;
  }

  CLI::App& app_;
  Arguments& arguments_;
};

}  // namespace

int run_map(int argc, char** argv) {
  Arguments arguments;
  CLI::App app{"Runs and checks maps of the FHIR mapping language.", "chartferry map"};
  app.add_flag("--batch", arguments.batch,
               "read {\"id\",\"map\",\"source\"} a line, answer {\"id\",\"result\"} a line");
  app.require_subcommand(0, 1);
  Commands commands(app, arguments);
  CLI::App* run =
      commands.add("run", "run one map on a source and print what it makes", "the map", run_once);
  run->add_option("--source", arguments.sources,
                  "a JSON document, FILE or FILE#/json/pointer; one for each source input")
      ->required();
  run->add_option("--map", arguments.map, "url of the map, when the path is a folder");
  run->add_option("--group", arguments.group, "the group to run; the first when not named");
  run->add_flag("--explain", arguments.explain,
                "print for every element which rule made it from what");
  CLI::App* testing = commands.add_of_set(
      "test", "run the samples and show what differs or does not conform", test);
  testing->add_flag("--accept", arguments.test.accept, "write what comes out as what is expected");
  commands.add_samples(testing);
  commands.add_samples(commands.add_of_set("watch", "test again whenever a file changes", watch));
  commands.add_of_set("lint", "groups and rules without effect, fields that no rule reads", lint)
      ->add_option("--below", arguments.below, "only fields below this path of the source model");
  CLI::App* coverage = commands.add_of_set(
      "coverage", "rules that fire in the samples, and those that never do", cover);
  coverage->add_flag("--each", arguments.each_rule,
                     "every rule with the number of samples that it fires in");
  commands.add_accepted_at(coverage);
  commands.add("convert", "mapping language to StructureMap JSON", "the map", convert);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? kOk : kUsage;
  }
  if (arguments.batch) {
    return run_map_batch();
  }
  if (commands.chosen == nullptr) {
    std::fprintf(stderr, "%s", app.help().c_str());
    return kUsage;
  }
  return commands.chosen(arguments);
}

}  // namespace engine::cli
