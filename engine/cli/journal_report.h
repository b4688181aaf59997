#pragma once
// journal report disclosures, activity, corrections, delay: what an auditor asks, as a table or as
// JSON lines. Who asked, and why, is written down before anything is shown.

#include <memory>
#include <string>
#include <vector>

#include "engine/base/result.h"

namespace CLI {
class App;
}

namespace engine::cli {

struct ReportArguments {
  std::string patient;
  std::string patient_file;
  std::string therapist;
  std::string actor;
  std::string since;
  std::string until;
  std::string key_file;
  std::vector<std::string> journal_keys;
  std::string who;
  std::string why;
  std::string format = "table";
  CLI::App* disclosures = nullptr;
  CLI::App* activity = nullptr;
  CLI::App* corrections = nullptr;
  CLI::App* delay = nullptr;
};

// SYSTEM|VALUE from an argument, or from the one line of a file (- is the input); "" when neither
// is given. Errors: kInvalid, also for a file of several; kIo.
base::Result<std::string> named_patient(std::string patient, const std::string& file);

// Adds `report` and its commands.
CLI::App* add_report(CLI::App& app, ReportArguments& arguments);

// Runs the one that was parsed. `files`: prefix of those that go with the journal. Returns the exit
// status.
int run_report(const std::string& journal, const std::string& files, ReportArguments arguments);

}  // namespace engine::cli
