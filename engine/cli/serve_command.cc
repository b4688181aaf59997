// chartferry serve: the engine, by command line and configuration file.

#include <cstdio>
#include <string>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>

#include "engine/cli/commands.h"
#include "engine/cli/read_file.h"
#include "engine/cli/running_engine.h"
#include "engine/cli/serve_config.h"

namespace engine::cli {
namespace {

int fail(const base::Error& error) {
  std::fprintf(stderr, "chartferry serve: %s\n", error.text().c_str());
  return kUsage;
}

void add_edge_options(CLI::App& app, ServeConfig& flags) {
  app.add_option("--listen", flags.listen, "ADDRESS:PORT (port 0: any free one)");
  app.add_option("--tls-certificate", flags.tls_certificate,
                 "PEM file: the engine's certificate, then those that vouch for it");
  app.add_option("--tls-key", flags.tls_key, "PEM file of its key, without a passphrase");
  app.add_option("--people", flags.people,
                 "who may sign in and send (`chartferry people`); without it everybody may");
  app.add_option("--host", flags.hosts,
                 "name that the engine goes by, beside localhost; several are possible");
  app.add_flag("--guarded", flags.guarded,
               "a gateway in front of the engine ends TLS or checks who calls");
  app.add_option("--port-file", flags.port_file, "written with the port when ready");
}

void add_journal_options(CLI::App& app, ServeConfig& flags) {
  app.add_option("--journal", flags.journal,
                 "the journal's file, made when new, or postgresql://USER@HOST/DATABASE");
  app.add_option("--files", flags.files,
                 "of a journal in a database: prefix of the keys', heads' and sets' files");
  app.add_option("--name", flags.name,
                 "of this engine among those of a database (default: the host's name)");
  app.add_option("--key", flags.key_file, "key of the journal's search (default: JOURNAL.key)");
  app.add_option("--journal-key", flags.journal_keys,
                 "master key that the journal's bodies are sealed under: a file, or "
                 "credential:NAME; several while one is exchanged for another");
  app.add_option("--retention", flags.retention,
                 "remove bodies of ended sessions that are older: \"10 years\" (default: never)");
  app.add_option("--anchor", flags.anchors,
                 "file that the signed tree heads are also written to, or an https:// address that "
                 "they are posted to, best on another machine; several may be given");
}

void add_translator_options(CLI::App& app, TranslatorFiles& files) {
  app.add_option("--site", files.site,
                 "directory of the site's mappings/, profiles/ and settings.json");
  app.add_option("--mappings", files.mappings, "folder of maps laid over the own ones");
  app.add_option("--overlay", files.overlay,
                 "a country's maps and profiles: us-core, us-core/9.0.0, us-core/3.1.0");
  app.add_option("--profiles", files.profiles, "folder of profiles, likewise");
  app.add_option("--settings", files.settings, "JSON file of the site's settings");
}

}  // namespace

int run_serve(int argc, char** argv) {
  CLI::App app("Runs the engine: takes sessions in over HTTP and lands them in record servers.",
               "chartferry serve");
  ServeConfig flags;
  std::string file;
  std::vector<std::string> urls;
  app.add_option("--config", file, "TOML file; flags win over it");
  add_edge_options(app, flags);
  add_journal_options(app, flags);
  app.add_option("--target", urls, "base URL of a record server");
  add_translator_options(app, flags.translator);
  app.add_option("--ward", flags.ward, "JSON file of the ward's patients with their orders");
  app.add_flag("--approval-needed", flags.approval_needed,
               "a changed mapping set waits, in shadow, for a named person");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& problem) {
    return app.exit(problem) == 0 ? kOk : kUsage;
  }
  ServeConfig config;
  if (!file.empty()) {
    const auto text = read_file(file);
    if (!text) {
      return fail(text.error());
    }
    if (auto read = read_config(*text, file, config); !read) {
      return fail(read.error());
    }
  }
  const auto win = [&](const char* flag, auto& to, const auto& from) {
    if (app.count(flag) > 0) {
      to = from;
    }
  };
  win("--listen", config.listen, flags.listen);
  win("--tls-certificate", config.tls_certificate, flags.tls_certificate);
  win("--tls-key", config.tls_key, flags.tls_key);
  win("--host", config.hosts, flags.hosts);
  win("--people", config.people, flags.people);
  win("--journal", config.journal, flags.journal);
  win("--files", config.files, flags.files);
  win("--name", config.name, flags.name);
  win("--key", config.key_file, flags.key_file);
  win("--journal-key", config.journal_keys, flags.journal_keys);
  win("--retention", config.retention, flags.retention);
  win("--anchor", config.anchors, flags.anchors);
  win("--site", config.translator.site, flags.translator.site);
  win("--mappings", config.translator.mappings, flags.translator.mappings);
  win("--overlay", config.translator.overlay, flags.translator.overlay);
  win("--profiles", config.translator.profiles, flags.translator.profiles);
  win("--settings", config.translator.settings, flags.translator.settings);
  win("--ward", config.ward, flags.ward);
  win("--port-file", config.port_file, flags.port_file);
  win("--guarded", config.guarded, flags.guarded);
  win("--approval-needed", config.approval_needed, flags.approval_needed);
  for (std::size_t i = 0; i < urls.size(); ++i) {
    TargetConfig target;
    target.name = i == 0 ? "main" : "main-" + std::to_string(i + 1);
    target.url = urls[i];
    config.targets.push_back(std::move(target));
  }
  if (auto checked = check_config(config); !checked) {
    return fail(checked.error());
  }
  const auto ran = run_engine(std::move(config));
  return ran ? kOk : fail(ran.error());
}

}  // namespace engine::cli
