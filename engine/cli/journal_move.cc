#include "engine/cli/journal_move.h"

#include <cstdio>
#include <utility>

#include <CLI/CLI.hpp>

#include "engine/base/seams.h"
#include "engine/cli/commands.h"
#include "engine/cli/read_file.h"
#include "engine/cli/system_seams.h"
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
  wanted.patient = move.patient;
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

}  // namespace

CLI::App* add_move(CLI::App& app, JournalArguments& arguments, MoveArguments& move) {
  CLI::App* command = app.add_subcommand(
      "move", "take a session back from the wrong patient and enter it anew for the right one");
  command->add_option("session", arguments.session, "session id")->required();
  command->add_option("--to", move.patient, "the right patient, SYSTEM|VALUE")->required();
  command->add_option("--encounter", move.encounter, "the stay there, SYSTEM|VALUE");
  command->add_option("--as", move.as,
                      "identifier of the new session (default: the old one and -moved)");
  command->add_option("--known", move.known_file,
                      "JSON file with what else is known of the right patient: patient, order, "
                      "earlier, breathingSet");
  command->add_option("--profiles", move.profiles, "the site's folder, as for serve");
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
  TranslatorFiles files;
  files.profiles = move.profiles;
  const auto translator = load_translator(files);
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
  auto moving = intake::move_to_patient(store, core, *key, arguments.session, *wanted);
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
  return kOk;
}

}  // namespace engine::cli
