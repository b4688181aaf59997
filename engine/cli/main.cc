// chartferry: finds the command and hands over.

#include <cstdio>
#include <cstring>
#include <exception>
#include <iterator>
#include <new>
#include <string>
#include <string_view>

#include "engine/cli/commands.h"
#include "engine/cli/terminal_guard.h"

namespace engine::cli {
namespace {

struct Command {
  std::string_view name;
  std::string_view purpose;
  int (*run)(int argc, char** argv);
};

constexpr Command kCommands[] = {
    {"check", "check resources against FHIR R4 and their profiles", run_check},
    {"fhirpath", "evaluate a FHIRPath expression on a resource", run_fhirpath},
    {"journal",
     "the log: list, show, verify, prove, export, reconcile; what to do with held ones and targets",
     run_journal},
    {"map", "run, test and check maps of the FHIR mapping language", run_map},
    {"people", "who may sign in, and which systems may send: add, remove, list, password, token",
     run_people},
    {"preflight", "ask a record server what it can do, before sending to it", run_preflight},
    {"profiles", "published shapes: compile, list, show, explain, add", run_profiles},
    {"replay", "make every bundle in the journal again and compare; send what landed anew",
     run_replay},
    {"serve", "run the engine", run_serve},
    {"session", "what a session document becomes: findings, resources, faults", run_session},
    {"units", "units of measure (UCUM): validate, convert, multiply, divide", run_units},
    {"version", "print the version",
     [](int, char**) {
       std::printf("chartferry %s\n", CHARTFERRY_VERSION);
       return kOk;
     }},
};

void print_usage(std::FILE* to) {
  std::fprintf(to,
               "usage: chartferry COMMAND [ARG ...]\n\n"
               "Carries therapy sessions into the chart. `chartferry COMMAND --help` explains a "
               "command.\n\n");
  for (const Command& command : kCommands) {
    std::fprintf(to, "  %-10.*s %.*s\n", static_cast<int>(command.name.size()), command.name.data(),
                 static_cast<int>(command.purpose.size()), command.purpose.data());
  }
  std::fprintf(to, "\nexit status: 0 ok, 1 the answer is \"no\", 2 usage or unusable input\n");
}

int run(int argc, char** argv) {
  if (argc < 2) {
    print_usage(stderr);
    return kUsage;
  }
  const std::string_view wanted = argv[1];
  if (wanted == "--help" || wanted == "-h" || wanted == "help") {
    print_usage(stdout);
    return kOk;
  }
  for (const Command& command : kCommands) {
    if (command.name == wanted) {
      return command.run(argc - 1, argv + 1);
    }
  }
  std::fprintf(stderr, "chartferry: there is no command '%s'; `chartferry --help` lists them\n",
               argv[1]);
  return kUsage;
}

}  // namespace
}  // namespace engine::cli

int main(int argc, char** argv) {
  try {
    engine::cli::guard_terminal();
    return engine::cli::run(argc, argv);
  } catch (const std::bad_alloc&) {
    std::fprintf(stderr,
                 "chartferry: this takes more memory than there is, or than one document may\n");
    return engine::cli::kUsage;
  } catch (const std::exception& problem) {
    std::fprintf(stderr, "chartferry: %s\n", problem.what());
    return engine::cli::kUsage;
  }
}
