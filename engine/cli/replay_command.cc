// chartferry replay: history run again, from the documents in the journal. Sends nothing, unless it
// is told to send what landed to another record server. What shows or sends something of patients
// is written down first; --verify shows nothing of them and writes nothing.

#include <csignal>
#include <cstdio>
#include <map>
#include <thread>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>
#include <signal.h>
#include <unistd.h>

#include "engine/cli/commands.h"
#include "engine/cli/given_words.h"
#include "engine/cli/journal_keys.h"
#include "engine/cli/journal_targets.h"
#include "engine/cli/kept_sets.h"
#include "engine/cli/mapping_sets.h"
#include "engine/cli/noted_reads.h"
#include "engine/cli/read_file.h"
#include "engine/cli/replay_resend.h"
#include "engine/cli/serve_config.h"
#include "engine/cli/translator_files.h"
#include "engine/cli/verify_sets.h"
#include "engine/journal/open_store.h"
#include "engine/journal/words.h"
#include "engine/json/write.h"
#include "engine/replay/replay.h"

namespace engine::cli {
namespace {

struct Arguments {
  std::string journal;
  std::string prefix;
  std::vector<std::string> journal_keys;
  TranslatorFiles files;
  replay::Range range;
  std::size_t threads = 0;
  bool verify = false;
  bool json = false;
  bool resend = false;
  TargetConfig server;
  std::string target;
  std::string config;
  std::string who = account_name();
  std::string why;
};

volatile std::sig_atomic_t asked_to_end = 0;  // by which signal

int fail(const base::Error& error) {
  std::fprintf(stderr, "chartferry replay: %s\n", error.text().c_str());
  return kUsage;
}

unsigned long long wide(std::uint64_t number) {
  return number;
}

replay::OnProgress progress() {
  const bool shown = ::isatty(STDERR_FILENO) != 0;
  return [shown](const replay::Progress& at) {
    if (shown) {
      std::fprintf(stderr, "\r%llu done, record %llu ", wide(at.done), wide(at.position));
    }
    return asked_to_end == 0;
  };
}

// What is under way is brought to its end, and the report says where it was. A second signal ends
// the program at once.
void end_when_asked() {
  struct sigaction action {};
  action.sa_handler = [](int signal) { asked_to_end = signal; };
  action.sa_flags = static_cast<int>(SA_RESETHAND) | SA_RESTART;
  ::sigaction(SIGINT, &action, nullptr);
  ::sigaction(SIGTERM, &action, nullptr);
}

void print_destroyed(std::uint64_t count) {
  if (count > 0) {
    std::printf(
        "%llu translations cannot be made again: their documents were destroyed on purpose\n",
        wide(count));
  }
}

std::uint64_t sum_of(const std::map<std::string, std::uint64_t>& counts) {
  std::uint64_t sum = 0;
  for (const auto& [target, count] : counts) {
    sum += count;
  }
  return sum;
}

int print_verify(const replay::VerifyReport& report, bool json) {
  if (json) {
    std::printf(
        R"({"translations":%llu,"same":%llu,"destroyed":%llu,"otherSets":%llu,"faults":%zu,%s"verified":%s})"
        "\n",
        wide(report.translations), wide(report.same), wide(report.destroyed),
        wide(sum_of(report.other_sets)), report.faults.size(),
        report.broken_off
            ? ("\"brokenOffBehind\":" + std::to_string(*report.broken_off) + ",").c_str()
            : "",
        report.verified() ? "true" : "false");
    return report.verified() ? kOk : kNo;
  }
  for (const replay::Fault& fault : report.faults) {
    std::printf("record %llu, session %s/%u, target %s: %s\n", wide(fault.position),
                fault.session.c_str(), fault.revision, fault.target.c_str(), fault.what.c_str());
  }
  for (const auto& [what, count] : report.other_sets) {
    std::printf(what == "computation"
                    ? "%llu translations were made by another version of the program (%s), and "
                      "this one makes something else of them: only that one can tell\n"
                    : "%llu translations were made with other inputs (%s): give the folders they "
                      "were made with\n",
                wide(count), what.c_str());
  }
  if (report.same_by_other > 0) {
    std::printf("%llu were made by another version of the program, and this one makes the same\n",
                wide(report.same_by_other));
  }
  print_destroyed(report.destroyed);
  if (report.broken_off) {
    std::printf("BROKEN OFF behind record %llu; go on with --after %llu\n",
                wide(*report.broken_off), wide(*report.broken_off));
  }
  std::printf("%s: %llu translations, %llu the same byte for byte\n",
              report.verified() ? "verified" : "NOT VERIFIED", wide(report.translations),
              wide(report.same));
  return report.verified() ? kOk : kNo;
}

void print_json(const replay::WhatIfReport& report) {
  std::string out = "{\"translations\":" + std::to_string(report.translations) +
                    ",\"same\":" + std::to_string(report.same) +
                    ",\"destroyed\":" + std::to_string(report.destroyed) +
                    ",\"otherSets\":" + std::to_string(sum_of(report.left_out)) + ",\"targets\":[";
  for (const auto& [target, count] : report.compared) {
    out += out.back() == '[' ? "" : ",";
    json::write_string(target, out);
  }
  out += "],\"differences\":[";
  for (const auto& [kind, difference] : report.differences) {
    out += out.back() == '[' ? "{\"kind\":" : ",{\"kind\":";
    json::write_string(kind, out);
    out += ",\"count\":" + std::to_string(difference.count) +
           ",\"position\":" + std::to_string(difference.example.position) + ",\"session\":";
    json::write_string(difference.example.session, out);
    out += ",\"before\":";
    json::write_string(difference.before, out);
    out += ",\"after\":";
    json::write_string(difference.after, out);
    out += "}";
  }
  std::printf("%s]}\n", out.c_str());
}

std::string names_of(const std::map<std::string, std::uint64_t>& by_target) {
  std::string out;
  for (const auto& [target, count] : by_target) {
    out += (out.empty() ? "" : ", ") + target;
  }
  return out;
}

int print_what_if(const replay::WhatIfReport& report, bool json) {
  if (json) {
    print_json(report);
    return report.differences.empty() ? kOk : kNo;
  }
  for (const auto& [kind, difference] : report.differences) {
    std::printf("%6llu x %s\n         record %llu, session %s/%u\n", wide(difference.count),
                kind.c_str(), wide(difference.example.position), difference.example.session.c_str(),
                difference.example.revision);
    if (!difference.before.empty()) {
      std::printf("         - %s\n", difference.before.c_str());
    }
    if (!difference.after.empty()) {
      std::printf("         + %s\n", difference.after.c_str());
    }
  }
  print_destroyed(report.destroyed);
  if (!report.left_out.empty()) {
    std::printf(
        "%llu translations are left out, of targets with sets of their own or not asked "
        "for: %s\n",
        wide(sum_of(report.left_out)), names_of(report.left_out).c_str());
  }
  std::printf("%llu translations%s%s, %llu the same, %zu kinds of difference; nothing was sent\n",
              wide(report.translations), report.compared.empty() ? "" : " for ",
              names_of(report.compared).c_str(), wide(report.same), report.differences.size());
  return report.differences.empty() ? kOk : kNo;
}

// Each example of a difference is a look at what somebody's session says.
std::vector<Look> looks_at_examples(const journal::Store& store,
                                    const replay::WhatIfReport& report) {
  std::map<journal::Position, Look> looks;
  for (const auto& [kind, difference] : report.differences) {
    const replay::Fault& example = difference.example;
    if (looks.contains(example.position)) {
      continue;
    }
    // The session finds the patient's disclosures too, should the head not be readable.
    Look look{"", example.session, example.revision, "", ""};
    if (auto found = look_at(store, example.position, ""); found) {
      look = std::move(*found);
    }
    look.what = "difference-shown";
    looks.emplace(example.position, std::move(look));
  }
  std::vector<Look> out;
  for (auto& [position, look] : looks) {
    out.push_back(std::move(look));
  }
  return out;
}

// One target's translations, or those of all that the engine's own set is for: by its
// configuration, or as engines left it beside the journal.
base::Result<replay::Whose> whose_of(const journal::Store& store, const Arguments& arguments) {
  replay::Whose whose;
  if (!arguments.target.empty()) {
    whose.target = arguments.target;
    auto known = check_target(store, arguments.target);
    return known ? base::Result<replay::Whose>(std::move(whose)) : std::move(known).error();
  }
  if (arguments.config.empty()) {
    whose.apart =
        targets_with_sets(KeptSets::folder_of(files_of(arguments.journal, arguments.prefix)));
    return whose;
  }
  ServeConfig config;
  const auto text = read_file(arguments.config);
  const auto read = text ? read_config(*text, arguments.config, config) : text.error();
  if (!read) {
    return read.error();
  }
  for (const TargetConfig& target : config.targets) {
    if (!target.translator.empty()) {
      whose.apart.insert(target.name);
    }
  }
  return whose;
}

int run_what_if(journal::Store& store, const intake::SessionCore& core, const Arguments& arguments,
                std::size_t threads) {
  const auto whose = whose_of(store, arguments);
  if (!whose) {
    return fail(whose.error());
  }
  const Reader reader{arguments.who, arguments.why};
  if (auto noted = note_looks(store, reader, {{"replayed", "", 0, "", ""}}); !noted) {
    return fail(noted.error());
  }
  const auto report = replay::what_if(store, core, arguments.range, threads, progress(), *whose);
  if (!report) {
    return fail(report.error());
  }
  if (auto noted = note_looks(store, reader, looks_at_examples(store, *report)); !noted) {
    return fail(noted.error());
  }
  return print_what_if(*report, arguments.json);
}

int run(const Arguments& arguments) {
  auto sealing = sealing_of(arguments.journal_keys);
  if (!sealing) {
    return fail(sealing.error());
  }
  const auto mode = arguments.verify ? journal::OpenMode::kRead : journal::OpenMode::kCommand;
  auto store = journal::open_store({arguments.journal, mode, "", std::move(*sealing)});
  if (!store) {
    return fail(store.error());
  }
  if (arguments.resend || arguments.verify) {
    end_when_asked();
  }
  if (arguments.resend) {
    TargetConfig server = arguments.server;
    server.name = arguments.target.empty() ? server.name : arguments.target;
    return resend_journal(**store, {server.name, arguments.range}, server,
                          {arguments.who, arguments.why}, arguments.json, progress());
  }
  auto translator = load_translator(arguments.files);
  if (!translator) {
    return fail(translator.error());
  }
  const intake::BorrowedCore<therapy::Translator> core(**translator);
  const std::size_t threads =
      arguments.threads != 0 ? arguments.threads : std::thread::hardware_concurrency();
  if (!arguments.verify) {
    return run_what_if(**store, core, arguments, threads);
  }
  const auto report = verify_with_kept_sets(
      **store, core,
      {KeptSets::folder_of(files_of(arguments.journal, arguments.prefix)), arguments.range, threads,
       progress(), [](const base::Error& error) {
         std::fprintf(stderr, "chartferry replay: %s\n", error.text().c_str());
       }});
  if (!report) {
    return fail(report.error());
  }
  return print_verify(*report, arguments.json);
}

// What was written on the command line, put as the journal has it.
base::Result<void> check(Arguments& arguments) {
  auto actor = actor_of(arguments.who);
  if (!actor) {
    return std::move(actor).error();
  }
  arguments.who = std::move(*actor);
  if (arguments.resend && !journal::says_something(arguments.why)) {
    return base::Error(base::ErrorCode::kInvalid,
                       "say with --why why this is sent to another server; it is kept");
  }
  return put_in_utc(arguments.range.since, arguments.range.until);
}

void add_resend(CLI::App& app, Arguments& arguments, CLI::Option* verify) {
  auto* url = app.add_option("--url", arguments.server.url, "with --resend: the new record server");
  auto* resend = app.add_flag("--resend", arguments.resend,
                              "send what landed to another record server, in its order");
  resend->needs(url)->excludes(verify);
  url->needs(resend);
  app.add_option("--target", arguments.target,
                 "with --resend: whose landings (default: main); with --with: whose bundles "
                 "(default: those of all targets without sets of their own)")
      ->excludes(verify);
  app.add_option("--config", arguments.config,
                 "with --with: the engine's file, which says which targets have sets of their own "
                 "(default: those for which an engine ever put some in force)")
      ->excludes(verify)
      ->excludes(resend);
  app.add_option("--ca", arguments.server.ca_file, "certificates to check the server's with, PEM")
      ->needs(resend);
  app.add_option("--authorization-file", arguments.server.authorization_file,
                 "holds the value of the Authorization header")
      ->needs(resend);
}

}  // namespace

int run_replay(int argc, char** argv) {
  CLI::App app(
      "Makes every bundle in the journal again. --verify: are they the same, byte for byte? "
      "--with: what would be different under other maps or profiles? Nothing is sent, but by "
      "--resend: what landed goes to another record server, as it was made then.",
      "chartferry replay");
  Arguments arguments;
  app.add_option("--journal", arguments.journal,
                 "the journal's file, or postgresql://USER@HOST/DATABASE")
      ->required();
  app.add_option("--files", arguments.prefix,
                 "of a journal in a database: prefix of its sets' folder (default: journal)");
  app.add_option("--journal-key", arguments.journal_keys,
                 "file of the master key that the journal's bodies are sealed under");
  auto* verify = app.add_flag("--verify", arguments.verify,
                              "compare byte for byte; exit 1 when anything differs");
  add_resend(app, arguments, verify);
  app.add_option("--overlay", arguments.files.overlay,
                 "a country's maps and profiles over ours: us-core, us-core/9.0.0, us-core/3.1.0");
  app.add_option("--with,--mappings", arguments.files.mappings,
                 "folder of maps laid over the own ones");
  app.add_option("--profiles", arguments.files.profiles, "folder of profiles, likewise");
  app.add_option("--settings", arguments.files.settings, "JSON file of the site's settings");
  app.add_option("--since", arguments.range.since, "instant, 2026-03-02T08:00:00Z");
  app.add_option("--until", arguments.range.until, "instant, exclusive");
  app.add_option("--after", arguments.range.after, "go on behind this record");
  app.add_option("--who", arguments.who, "who does this (default: the account's name)");
  app.add_option("--why", arguments.why, "the reason; it is kept. --resend needs one");
  app.add_option("--threads", arguments.threads, "default: one a core");
  app.add_flag("--json", arguments.json, "print one JSON object");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& problem) {
    return app.exit(problem) == 0 ? kOk : kUsage;
  }
  const auto good = check(arguments);
  return good ? run(arguments) : fail(good.error());
}

}  // namespace engine::cli
