// chartferry journal: what the log holds, whether it is whole, and what a person may do with a held
// session. Works beside a running engine. Every look at what patients' records hold is itself
// written down.

#include <cstdio>
#include <cstdlib>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>
#include <unistd.h>

#include "engine/base/limits.h"
#include "engine/cli/commands.h"
#include "engine/cli/system_seams.h"
#include "engine/intake/steering.h"
#include "engine/journal/journal.h"
#include "engine/journal/search_key.h"
#include "engine/journal/sqlite_store.h"
#include "engine/journal/verify.h"

namespace engine::cli {
namespace {

using journal::SqliteOptions;
using journal::Store;

struct Arguments {
  std::string journal;
  std::string key_file;
  std::string who;
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
  std::size_t limit = 100;
};

int fail(const base::Error& error) {
  std::fprintf(stderr, "chartferry journal: %s\n", error.text().c_str());
  return kUsage;
}

std::string default_who() {
  const char* name = std::getenv("USER");
  return "user " + (name != nullptr ? std::string(name) : std::to_string(::getuid()));
}

base::Result<std::unique_ptr<Store>> open(const Arguments& arguments, SqliteOptions::Mode mode) {
  return journal::open_sqlite_store({arguments.journal, mode});
}

base::Result<journal::Outcome> append(Store& store, journal::Change change) {
  const SystemClock clock;
  std::vector<journal::Change> batch;
  batch.push_back(std::move(change));
  auto outcomes = store.commit(batch, clock);
  if (!outcomes) {
    return std::move(outcomes).error();
  }
  return std::move(outcomes->front());
}

// Before anything is shown: who looks is durable first.
base::Result<journal::Outcome> note_read(Store& store, const Arguments& arguments,
                                         const std::string& session, const std::string& what) {
  journal::Change change;
  change.record.kind = journal::Kind::kRead;
  change.record.session = session;
  change.record.actor = arguments.who;
  change.record.why = arguments.why;
  change.record.reason = what;
  return append(store, std::move(change));
}

void print_line(const journal::Record& record) {
  std::printf("%8llu %s %-11s %s/%u %s%s%s\n", static_cast<unsigned long long>(record.position),
              record.time.c_str(), std::string(journal::name_of(record.kind)).c_str(),
              record.session.empty() ? "-" : record.session.c_str(), record.revision,
              record.target.c_str(), record.reason.empty() ? "" : " ", record.reason.c_str());
}

int list_legs(const Store& store, const Arguments& arguments) {
  const auto state = journal::leg_state_of(arguments.state);
  if (!state) {
    std::fprintf(stderr, "chartferry journal: there is no state '%s'\n", arguments.state.c_str());
    return kUsage;
  }
  const auto legs = store.in_state(*state, arguments.limit);
  if (!legs) {
    return fail(legs.error());
  }
  for (const journal::Leg& leg : *legs) {
    std::printf("%8llu %s/%u %s %s %s\n", static_cast<unsigned long long>(leg.accepted),
                leg.session.c_str(), leg.revision, leg.target.c_str(),
                std::string(journal::name_of(leg.state)).c_str(), leg.reason.c_str());
  }
  return kOk;
}

int list(const Arguments& arguments) {
  const bool by_person = !arguments.patient.empty() || !arguments.therapist.empty();
  auto store =
      open(arguments, by_person ? SqliteOptions::Mode::kCommand : SqliteOptions::Mode::kRead);
  if (!store) {
    return fail(store.error());
  }
  if (!arguments.state.empty()) {
    return list_legs(**store, arguments);
  }
  journal::Query query;
  query.session = arguments.session;
  query.target = arguments.target;
  query.since = arguments.since;
  query.until = arguments.until;
  query.limit = arguments.limit;
  if (!arguments.kind.empty()) {
    query.kind = journal::kind_of(arguments.kind);
    if (!query.kind) {
      std::fprintf(stderr, "chartferry journal: there is no kind '%s'\n", arguments.kind.c_str());
      return kUsage;
    }
  }
  if (by_person) {
    auto key = journal::SearchKey::load(
        arguments.key_file.empty() ? arguments.journal + ".key" : arguments.key_file, "");
    if (!key) {
      return fail(key.error());
    }
    query.patient = key->hide(arguments.patient);
    query.therapist = key->hide(arguments.therapist);
    if (auto noted = note_read(**store, arguments, "", "search-by-person"); !noted) {
      return fail(noted.error());
    }
  }
  const auto records = (*store)->search(query);
  if (!records) {
    return fail(records.error());
  }
  for (const journal::Record& record : *records) {
    print_line(record);
  }
  return kOk;
}

int show(const Arguments& arguments) {
  auto store = open(arguments, SqliteOptions::Mode::kCommand);
  if (!store) {
    return fail(store.error());
  }
  const auto text = (*store)->head_text(arguments.position);
  if (!text) {
    return fail(text.error());
  }
  const auto head = journal::parse_head(*text);
  if (!head) {
    return fail(head.error());
  }
  if (auto noted = note_read(**store, arguments, head->record.session, "record-shown"); !noted) {
    return fail(noted.error());
  }
  if (!arguments.part.empty()) {
    const auto bytes = (*store)->part(arguments.position, arguments.part);
    if (!bytes) {
      return fail(bytes.error());
    }
    std::fwrite(bytes->data(), 1, bytes->size(), stdout);
    return kOk;
  }
  std::printf("%s", text->c_str());
  for (const journal::Head::PartMark& mark : head->parts) {
    const auto bytes = (*store)->part(arguments.position, mark.name);
    std::printf("\n--- %s\n%s\n", mark.name.c_str(),
                bytes ? bytes->c_str() : bytes.error().text().c_str());
  }
  return kOk;
}

int verify(const Arguments& arguments) {
  auto store = open(arguments, SqliteOptions::Mode::kRead);
  if (!store) {
    return fail(store.error());
  }
  auto report = journal::verify(**store);
  if (!report) {
    std::printf("unreadable: %s\n", report.error().text().c_str());
    return kNo;
  }
  auto differences = (*store)->check_fold(base::limits::kIssuesMax);
  if (!differences) {
    report->faults.push_back("states: " + differences.error().text());
  } else {
    report->faults.insert(report->faults.end(), differences->begin(), differences->end());
  }
  for (const std::string& remark : report->remarks) {
    std::printf("remark: %s\n", remark.c_str());
  }
  for (const std::string& fault : report->faults) {
    std::printf("fault: %s\n", fault.c_str());
  }
  std::printf(
      "%s: %llu records, %llu parts, %llu bytes, root %s\n",
      report->sound() ? "sound" : "NOT SOUND", static_cast<unsigned long long>(report->records),
      static_cast<unsigned long long>(report->parts),
      static_cast<unsigned long long>(report->stored_bytes), base::to_hex(report->root).c_str());
  return report->sound() ? kOk : kNo;
}

int steer(const Arguments& arguments, intake::Steer action) {
  auto store = open(arguments, SqliteOptions::Mode::kCommand);
  if (!store) {
    return fail(store.error());
  }
  intake::SteerRequest request;
  request.action = action;
  request.session = arguments.session;
  request.revision = arguments.revision;
  request.target = arguments.target;
  request.actor = arguments.who;
  request.why = arguments.why;
  auto change = intake::steer(**store, request);
  if (!change) {
    return fail(change.error());
  }
  const auto outcome = append(**store, std::move(*change));
  if (!outcome) {
    return fail(outcome.error());
  }
  if (outcome->verdict != journal::Outcome::Verdict::kWritten) {
    std::fprintf(stderr, "chartferry journal: it is not held any more\n");
    return kNo;
  }
  print_line(outcome->record);
  return kOk;
}

void add_person_options(CLI::App& command, Arguments& arguments, bool why_needed) {
  command.add_option("--who", arguments.who, "who does this (default: the user's name)");
  auto* why = command.add_option("--why", arguments.why, "the reason; it is kept");
  if (why_needed) {
    why->required();
  }
}

CLI::App* add_list(CLI::App& app, Arguments& arguments) {
  CLI::App* command = app.add_subcommand("list", "records, oldest first");
  command->add_option("--session", arguments.session, "session id");
  command->add_option("--patient", arguments.patient, "SYSTEM|VALUE");
  command->add_option("--therapist", arguments.therapist, "SYSTEM|VALUE");
  command->add_option("--target", arguments.target, "name of a target");
  command->add_option("--kind", arguments.kind, "accepted, checked, held, landed, refused ...");
  command->add_option("--state", arguments.state, "instead: sessions that are held, checked ...");
  command->add_option("--since", arguments.since, "instant, 2026-03-02T08:00:00Z");
  command->add_option("--until", arguments.until, "instant, exclusive");
  command->add_option("--limit", arguments.limit, "at most so many");
  command->add_option("--key", arguments.key_file, "key of the search (default: JOURNAL.key)");
  add_person_options(*command, arguments, false);
  return command;
}

CLI::App* add_show(CLI::App& app, Arguments& arguments) {
  CLI::App* command = app.add_subcommand("show", "one record with what it holds");
  command->add_option("position", arguments.position, "its place in the journal")->required();
  command->add_option("--part", arguments.part, "only the bytes of document, bundle, outcome ...");
  add_person_options(*command, arguments, false);
  return command;
}

CLI::App* add_steer(CLI::App& app, Arguments& arguments, const char* name, const char* purpose) {
  CLI::App* command = app.add_subcommand(name, purpose);
  command->add_option("session", arguments.session, "session id")->required();
  command->add_option("--revision", arguments.revision, "when several are held");
  command->add_option("--target", arguments.target, "likewise");
  add_person_options(*command, arguments, true);
  return command;
}

}  // namespace

int run_journal(int argc, char** argv) {
  CLI::App app("The journal: what was taken in, sent and landed.", "chartferry journal");
  Arguments arguments;
  arguments.who = default_who();
  app.add_option("--journal", arguments.journal, "the journal's file")->required();
  app.require_subcommand(1);
  app.fallthrough();
  CLI::App* const list_command = add_list(app, arguments);
  CLI::App* const show_command = add_show(app, arguments);
  CLI::App* const verify_command = app.add_subcommand("verify", "is anything altered or missing?");
  CLI::App* const release = add_steer(app, arguments, "release", "send a held session after all");
  CLI::App* const remap = add_steer(app, arguments, "remap", "translate a held session again");
  add_steer(app, arguments, "withdraw", "give a held session up");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& problem) {
    return app.exit(problem) == 0 ? kOk : kUsage;
  }
  if (list_command->parsed()) {
    return list(arguments);
  }
  if (show_command->parsed()) {
    return show(arguments);
  }
  if (verify_command->parsed()) {
    return verify(arguments);
  }
  return steer(arguments, release->parsed() ? intake::Steer::kRelease
                          : remap->parsed() ? intake::Steer::kRemap
                                            : intake::Steer::kWithdraw);
}

}  // namespace engine::cli
