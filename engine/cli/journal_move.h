#pragma once
// `chartferry journal move`: a session that was recorded on the wrong patient, taken back there and
// entered anew for the right one.

#include "engine/cli/journal_options.h"
#include "engine/journal/store.h"

namespace CLI {
class App;
}

namespace engine::cli {

struct MoveArguments {
  std::string patient;       // SYSTEM|VALUE
  std::string patient_file;  // which has it on its one line
  std::string encounter;
  std::string as;
  std::string role = "therapist";
  std::string known_file;
  std::string profiles;  // the site's folder, as for serve
  std::string config;    // the engine's file, whose targets the new session is meant for
};

CLI::App* add_move(CLI::App& app, JournalArguments& arguments, MoveArguments& move);
// Works beside running engines; the exit status.
int move_in_journal(journal::Store& store, const JournalArguments& arguments,
                    const MoveArguments& move);

}  // namespace engine::cli
