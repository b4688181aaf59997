// chartferry preflight: what a record server can and cannot do for the engine, asked of it with two
// reads before anything is sent.

#include <cstdio>
#include <string>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>

#include "engine/cli/commands.h"
#include "engine/cli/preflight_report.h"
#include "engine/cli/read_file.h"
#include "engine/cli/serve_config.h"
#include "engine/delivery/preflight.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using delivery::Ability;

void print_table(const std::string& url, const std::vector<Ability>& rows) {
  std::printf("%s\n", url.c_str());
  for (const Ability& row : rows) {
    std::printf("  %-7s %-36s %s\n", word_of(row.grade), row.name.c_str(),
                row.consequence.empty() ? row.found.c_str() : row.consequence.c_str());
  }
  const std::size_t count = needed_of(rows);
  if (count == 0) {
    std::printf("ready: everything needed is there\n");
  } else {
    std::printf("NOT READY: %zu of what is needed %s not there\n", count,
                count == 1 ? "is" : "are");
  }
}

int fail(const Error& error) {
  std::fprintf(stderr, "chartferry preflight: %s\n", error.text().c_str());
  return kUsage;
}

}  // namespace

int run_preflight(int argc, char** argv) {
  CLI::App app("Asks a record server what it can do, with two reads; sends nothing.",
               "chartferry preflight");
  TargetConfig target;
  std::string config_file;
  std::string format = "text";
  auto* url = app.add_option("url", target.url, "base URL of the record server");
  app.add_option("--config", config_file, "instead: the targets of a configuration file")
      ->excludes(url);
  app.add_option("--ca", target.ca_file, "certificates that the server's is checked with, PEM");
  app.add_option("--authorization-file", target.authorization_file,
                 "holds the value of the Authorization header");
  app.add_option("--format", format, "text or json")->check(CLI::IsMember({"text", "json"}));
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& problem) {
    return app.exit(problem) == 0 ? kOk : kUsage;
  }
  ServeConfig config;
  if (!config_file.empty()) {
    const auto text = read_file(config_file);
    if (!text) {
      return fail(text.error());
    }
    if (auto read = read_config(*text, config_file, config); !read) {
      return fail(read.error());
    }
  } else {
    config.targets.push_back(target);
  }
  if (config.targets.empty() || config.targets.front().url.empty()) {
    return fail(Error(ErrorCode::kInvalid, "no record server is named: a URL, or --config FILE"));
  }
  int status = kOk;
  for (const TargetConfig& one : config.targets) {
    const auto rows = ask_abilities(one);
    if (!rows) {
      return fail(rows.error());
    }
    if (format == "json") {
      std::printf("%s\n", report_of(one.url, *rows).c_str());
    } else {
      print_table(one.url, *rows);
    }
    status = needed_of(*rows) == 0 ? status : kNo;
  }
  return status;
}

}  // namespace engine::cli
