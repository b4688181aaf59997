#include "engine/cli/journal_move.h"

#include <cstdio>
#include <memory>
#include <utility>

#include <CLI/CLI.hpp>

#include "engine/base/seams.h"
#include "engine/cli/commands.h"
#include "engine/cli/journal_report.h"
#include "engine/cli/read_file.h"
#include "engine/cli/system_seams.h"
#include "engine/cli/target_sets.h"
#include "engine/cli/translator_files.h"
#include "engine/intake/moving.h"

namespace engine::cli {
namespace {

int fail(const base::Error& error) {
  std::fprintf(stderr, "chartferry journal: %s\n", error.text().c_str());
  return kUsage;
}

base::Result<therapy::Move> wanted_of(const JournalArguments& arguments, const MoveArguments& move,
                                      const base::Clock& clock) {
  therapy::Move wanted;
  auto patient = named_patient(move.patient, move.patient_file);
  if (!patient) {
    return std::move(patient).error();
  }
  if (patient->empty()) {
    return base::Error(base::ErrorCode::kInvalid,
                       "to whom? --to-file FILE (or -), or --to SYSTEM|VALUE");
  }
  wanted.patient = std::move(*patient);
  wanted.encounter = move.encounter;
  wanted.as = move.as;
  wanted.role = move.role;
  wanted.actor = arguments.label;  // the charts show it
  wanted.why = arguments.why;
  wanted.time = base::to_instant(clock.now());
  if (!move.known_file.empty()) {
    auto known = read_file(move.known_file);
    if (!known) {
      return std::move(known).error();
    }
    wanted.known = std::move(*known);
  }
  return wanted;
}

// As the engine admits documents, with the conditions of its targets; the command line wins.
base::Result<std::unique_ptr<therapy::Translator>> translator_of(const MoveArguments& move,
                                                                 ServeConfig& config) {
  if (!move.config.empty()) {
    const auto text = read_file(move.config);
    const auto read = text ? read_config(*text, move.config, config) : text.error();
    if (!read) {
      return read.error();
    }
  }
  auto files = with_site(config.translator);
  if (!files) {
    return std::move(files).error();
  }
  if (!move.profiles.empty()) {
    files->profiles = move.profiles;
  }
  auto sources = read_sources(*files);
  if (!sources) {
    return std::move(sources).error();
  }
  sources->conditions = conditions_of(config.targets);
  return therapy::Translator::load(std::move(*sources));
}

}  // namespace

CLI::App* add_move(CLI::App& app, JournalArguments& arguments, MoveArguments& move) {
  CLI::App* command = app.add_subcommand(
      "move", "take a session back from the wrong patient and enter it anew for the right one");
  command->add_option("session", arguments.session, "session id")->required();
  auto* to = command->add_option("--to", move.patient, "the right patient, SYSTEM|VALUE");
  command
      ->add_option("--to-file", move.patient_file,
                   "file that holds SYSTEM|VALUE on one line; - for the input")
      ->excludes(to);
  command->add_option("--encounter", move.encounter, "the stay there, SYSTEM|VALUE");
  command->add_option("--as", move.as,
                      "identifier of the new session (default: the old one and -moved)");
  command->add_option("--known", move.known_file,
                      "JSON file with what else is known of the right patient: patient, order, "
                      "earlier, breathingSet");
  command->add_option("--profiles", move.profiles, "the site's folder, as for serve");
  command->add_option("--config", move.config,
                      "the engine's file: the new session goes to the targets whose conditions it "
                      "meets (without it: where the old one went), and the site's folders are its");
  command->add_option("--role", move.role, "in which role you move it (default: therapist)");
  command->add_option("--key", arguments.key_file, "the search key's file");
  command->add_option("--who", arguments.who, "your name, as the log and the charts show it");
  command->add_option("--why", arguments.why, "the reason; it lands in both charts")->required();
  return command;
}

int move_in_journal(journal::Store& store, const JournalArguments& arguments,
                    const MoveArguments& move) {
  const SystemClock clock;
  auto wanted = wanted_of(arguments, move, clock);
  if (!wanted) {
    return fail(wanted.error());
  }
  ServeConfig config;
  const auto translator = translator_of(move, config);
  if (!translator) {
    return fail(translator.error());
  }
  const auto key = journal::load_search_key(
      store, arguments.key_file.empty() ? files_of(arguments.journal, arguments.files) + ".key"
                                        : arguments.key_file);
  if (!key) {
    return fail(key.error());
  }
  const intake::BorrowedCore<therapy::Translator> core(**translator);
  auto moving = intake::move_to_patient(store, core, *key, arguments.session, *wanted,
                                        targets_of(config.targets, &core));
  if (!moving) {
    return fail(moving.error());
  }
  for (journal::Change& change : moving->changes) {
    change.record.actor = arguments.who;
  }
  const auto outcomes = store.commit(moving->changes, clock);
  const auto good = outcomes ? intake::check_moved(*outcomes) : outcomes.error();
  if (!good) {
    return fail(good.error());
  }
  std::printf("%s/%u takes it back, %s/1 enters it anew; both are sent from here on\n",
              arguments.session.c_str(), outcomes->front().record.revision,
              moving->entered.c_str());
  for (const std::uint32_t revision : moving->left_out) {
    std::printf("revision %u was given up: what it says is not moved\n", revision);
  }
  return kOk;
}

}  // namespace engine::cli
