#pragma once
// The command line of `chartferry journal`: its commands, their options, and what they fill.

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/cli/serve_config.h"

namespace CLI {
class App;
}

namespace engine::cli {

struct JournalArguments {
  std::string journal;
  std::string files;
  std::string key_file;
  std::vector<std::string> journal_keys;
  std::string from_journal;
  std::string to_journal;
  std::string who;    // before check_arguments() the name given, then the actor of records
  std::string label;  // the name given
  std::string why;
  std::string patient;
  std::string therapist;
  std::string session;
  std::string target;
  std::string kind;
  std::string state;
  std::string since;
  std::string until;
  std::string part;
  std::uint32_t revision = 0;
  std::uint64_t position = 0;
  std::uint64_t after = 0;
  std::size_t limit = 0;  // 0: all
  std::vector<std::string> heads;
  std::string public_key;
  std::string folder;
  TargetConfig server;
  bool as_json = false;
  std::uint64_t from = 0;
  std::uint64_t to = 0;
  bool by_person() const { return !patient.empty() || !therapist.empty(); }
};

// Puts what was written as the journal has it. Errors: kInvalid for an instant, an identifier or a
// name that is none.
base::Result<void> check_arguments(JournalArguments& arguments);

// Each adds one command whose options fill `arguments`, which must outlive the parse.
CLI::App* add_list(CLI::App& app, JournalArguments& arguments);
CLI::App* add_show(CLI::App& app, JournalArguments& arguments);
CLI::App* add_verify(CLI::App& app, JournalArguments& arguments);
CLI::App* add_prove(CLI::App& app, JournalArguments& arguments);
CLI::App* add_export(CLI::App& app, JournalArguments& arguments);
CLI::App* add_reconcile(CLI::App& app, JournalArguments& arguments);
CLI::App* add_targets(CLI::App& app, JournalArguments& arguments);
CLI::App* add_pause(CLI::App& app, JournalArguments& arguments, const char* name,
                    const char* purpose);
CLI::App* add_copy(CLI::App& app, JournalArguments& arguments);
CLI::App* add_steer(CLI::App& app, JournalArguments& arguments, const char* name,
                    const char* purpose);

}  // namespace engine::cli
