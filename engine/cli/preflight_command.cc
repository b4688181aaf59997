// chartferry preflight: what a record server can and cannot do for the engine, asked of it with two
// reads before anything is sent.

#include <cstdio>
#include <string>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>

#include "engine/cli/commands.h"
#include "engine/cli/read_file.h"
#include "engine/cli/serve_config.h"
#include "engine/cli/target_peer.h"
#include "engine/delivery/http_peer.h"
#include "engine/delivery/preflight.h"
#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using delivery::Ability;
using delivery::Reply;

// Nobody's identifier: the search finds nothing and shows whether searching is allowed.
constexpr const char* kSearch =
    "/Observation?identifier=https%3A%2F%2Fchartferry.example%2Ffhir%2Fpreflight%7Cnone&_count=1";

// Errors: kPeer when there is no record server to be judged.
Result<std::vector<Ability>> judge(const TargetConfig& target) {
  auto peer = TargetPeer::open(target);
  if (!peer) {
    return std::move(peer).error();
  }
  const Reply metadata = (*peer)->get("/metadata");
  if (metadata.fate != Reply::Fate::kAnswered) {
    return Error(ErrorCode::kPeer, "no answer: " + metadata.failure, target.url);
  }
  if (metadata.status != 200) {
    return Error(ErrorCode::kPeer,
                 "/metadata gives HTTP " + std::to_string(metadata.status) +
                     "; a FHIR server answers it with 200: is the base URL right?",
                 target.url);
  }
  json::NameTable names;
  json::Document document(names);
  const auto parsed = document.parse(metadata.body);
  if (metadata.body_cut || !parsed ||
      document.root()->string_at("resourceType") != "CapabilityStatement") {
    return Error(ErrorCode::kPeer, "/metadata gives no CapabilityStatement in JSON", target.url);
  }
  std::vector<Ability> rows = delivery::judge_capabilities(*document.root());
  const auto url = delivery::parse_base_url(target.url);
  rows.insert(rows.begin(), delivery::judge_transport(url->tls, url->host));
  const Reply search = (*peer)->get(kSearch);
  rows.push_back(delivery::judge_search(search.fate == Reply::Fate::kAnswered ? search.status : 0));
  return rows;
}

const char* word_of(Ability::Grade grade) {
  return grade == Ability::Grade::kThere    ? "there"
         : grade == Ability::Grade::kAbsent ? "absent"
                                            : "needed";
}

std::size_t needed(const std::vector<Ability>& rows) {
  std::size_t count = 0;
  for (const Ability& row : rows) {
    count += row.grade == Ability::Grade::kNeeded ? 1U : 0U;
  }
  return count;
}

void print_table(const std::string& url, const std::vector<Ability>& rows) {
  std::printf("%s\n", url.c_str());
  for (const Ability& row : rows) {
    std::printf("  %-7s %-36s %s\n", word_of(row.grade), row.name.c_str(),
                row.consequence.empty() ? row.found.c_str() : row.consequence.c_str());
  }
  const std::size_t count = needed(rows);
  if (count == 0) {
    std::printf("ready: everything needed is there\n");
  } else {
    std::printf("NOT READY: %zu of what is needed %s not there\n", count,
                count == 1 ? "is" : "are");
  }
}

std::string json_of(const std::string& url, const std::vector<Ability>& rows) {
  std::string out = "{\"target\":";
  json::write_string(url, out);
  out += std::string(",\"ready\":") + (needed(rows) == 0 ? "true" : "false") + ",\"abilities\":[";
  bool first = true;
  for (const Ability& row : rows) {
    out += first ? "{\"name\":" : ",{\"name\":";
    first = false;
    json::write_string(row.name, out);
    out += std::string(",\"grade\":\"") + word_of(row.grade) + "\",\"found\":";
    json::write_string(row.found, out);
    if (!row.consequence.empty()) {
      out += ",\"consequence\":";
      json::write_string(row.consequence, out);
    }
    out += "}";
  }
  return out + "]}";
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
    const auto rows = judge(one);
    if (!rows) {
      return fail(rows.error());
    }
    if (format == "json") {
      std::printf("%s\n", json_of(one.url, *rows).c_str());
    } else {
      print_table(one.url, *rows);
    }
    status = needed(*rows) == 0 ? status : kNo;
  }
  return status;
}

}  // namespace engine::cli
