#pragma once
// journal rotate-key, shred, hold, end-hold, holds, expire: what becomes of the bodies. Each is a
// record of the journal, with who did it and why.

#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace CLI {
class App;
}

namespace engine::cli {

struct KeepingArguments {
  std::string patient;
  std::string patient_file;
  std::string key_file;
  std::string new_key;
  std::string retention;
  std::string who;
  std::string why;
  std::uint64_t position = 0;
  bool even_unsent = false;
  CLI::App* rotate = nullptr;
  CLI::App* shred = nullptr;
  CLI::App* hold = nullptr;
  CLI::App* end_hold = nullptr;
  CLI::App* holds = nullptr;
  CLI::App* expire = nullptr;
  bool parsed() const;
};

void add_keeping(CLI::App& app, KeepingArguments& arguments);

// Runs the one that was parsed, on the journal at `location`. `files`: prefix of those that go with
// it. Returns the exit status.
int run_keeping(const std::string& location, const std::string& files,
                const std::vector<std::string>& journal_keys, KeepingArguments arguments);

}  // namespace engine::cli
