// chartferry journal: what the log holds, whether it is whole, and what a person may do with a held
// session. Works beside a running engine. Every look at what patients' records hold is itself
// written down.

#include <algorithm>
#include <cstdio>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>
#include <unistd.h>

#include "engine/base/limits.h"
#include "engine/cli/commands.h"
#include "engine/cli/given_words.h"
#include "engine/cli/journal_keeping.h"
#include "engine/cli/journal_keys.h"
#include "engine/cli/journal_list.h"
#include "engine/cli/journal_move.h"
#include "engine/cli/journal_options.h"
#include "engine/cli/journal_proof.h"
#include "engine/cli/journal_reconcile.h"
#include "engine/cli/journal_report.h"
#include "engine/cli/journal_targets.h"
#include "engine/cli/noted_reads.h"
#include "engine/cli/shown_text.h"
#include "engine/cli/system_seams.h"
#include "engine/delivery/away.h"
#include "engine/intake/steering.h"
#include "engine/journal/copy.h"
#include "engine/journal/file_lock.h"
#include "engine/journal/journal.h"
#include "engine/journal/open_store.h"
#include "engine/journal/search_key.h"

namespace engine::cli {
namespace {

using journal::OpenMode;
using journal::Store;
using Arguments = JournalArguments;

int fail(const base::Error& error) {
  std::fprintf(stderr, "chartferry journal: %s\n", error.text().c_str());
  return kUsage;
}

base::Result<std::unique_ptr<Store>> open(const Arguments& arguments, OpenMode mode) {
  auto sealing = sealing_of(arguments.journal_keys);
  return sealing ? journal::open_store({arguments.journal, mode, "", std::move(*sealing)})
                 : std::move(sealing).error();
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
base::Result<void> note_read(Store& store, const Arguments& arguments,
                             const std::vector<Look>& looks) {
  return note_looks(store, {arguments.who, arguments.why}, looks);
}

// A name that was mistyped would look as if nothing were there.
base::Result<void> check_named_target(const Store& store, const Arguments& arguments) {
  return arguments.target.empty() ? base::Result<void>() : check_target(store, arguments.target);
}

// Patients and therapists are searched by their keyed hashes.
base::Result<journal::Query> query_of(const Store& store, const Arguments& arguments) {
  journal::Query query;
  query.session = arguments.session;
  query.target = arguments.target;
  if (auto known = check_named_target(store, arguments); !known) {
    return std::move(known).error();
  }
  query.since = arguments.since;
  query.until = arguments.until;
  query.after = arguments.after;
  if (!arguments.kind.empty()) {
    query.kind = journal::kind_of(arguments.kind);
    if (!query.kind) {
      return base::Error(base::ErrorCode::kInvalid, "there is no kind '" + arguments.kind + "'");
    }
  }
  if (arguments.by_person()) {
    auto key = journal::load_search_key(
        store, arguments.key_file.empty() ? files_of(arguments.journal, arguments.files) + ".key"
                                          : arguments.key_file);
    if (!key) {
      return std::move(key).error();
    }
    query.patient = key->hide(arguments.patient);
    query.therapist = key->hide(arguments.therapist);
  }
  return query;
}

int list(const Arguments& arguments) {
  const bool by_person = arguments.by_person();
  auto store = open(arguments, by_person ? OpenMode::kCommand : OpenMode::kRead);
  if (!store) {
    return fail(store.error());
  }
  auto query = query_of(**store, arguments);
  if (!query) {
    return fail(query.error());
  }
  if (by_person) {
    if (auto told = remark_a_stranger(**store, query->patient); !told) {
      return fail(told.error());
    }
    const Look look{"search-by-person", arguments.session, 0, query->patient, query->therapist};
    if (auto noted = note_read(**store, arguments, {look}); !noted) {
      return fail(noted.error());
    }
  }
  const ListWish wish{std::move(*query), arguments.limit, arguments.as_json};
  return arguments.state.empty() ? list_records(**store, wish)
                                 : list_legs(**store, arguments.state, wish);
}

// A part that cannot be shown; one that was destroyed on purpose is no fault of anything.
int status_of(const base::Error& error) {
  return error.code == base::ErrorCode::kNotFound      ? kOk
         : error.code == base::ErrorCode::kUnsupported ? kUsage
                                                       : kNo;
}

int show(const Arguments& arguments) {
  auto store = open(arguments, OpenMode::kCommand);
  if (!store) {
    return fail(store.error());
  }
  const auto text = (*store)->head_text(arguments.position);
  if (!text) {
    return fail(text.error());
  }
  const auto head = journal::parse_head(*text, arguments.position);
  if (!head) {
    return fail(head.error());
  }
  const journal::Record& record = head->record;
  const Look look{"record-shown", record.session, record.revision, record.patient, ""};
  if (auto noted = note_read(**store, arguments, {look}); !noted) {
    return fail(noted.error());
  }
  if (!arguments.part.empty()) {
    const auto bytes = (*store)->part(arguments.position, arguments.part);
    if (!bytes) {
      return fail(bytes.error());
    }
    const std::string out = for_stdout(*bytes);
    std::fwrite(out.data(), 1, out.size(), stdout);
    return kOk;
  }
  std::printf("%s", for_stdout(*text).c_str());
  int status = kOk;
  for (const journal::Head::PartMark& mark : head->parts) {
    const auto bytes = (*store)->part(arguments.position, mark.name);
    std::printf("\n--- %s\n%s\n", mark.name.c_str(),
                for_stdout(bytes ? *bytes : bytes.error().text()).c_str());
    status = std::max(status, bytes ? kOk : status_of(bytes.error()));
  }
  return status;
}

ProofFiles proof_files(const Arguments& arguments) {
  return {files_of(arguments.journal, arguments.files), arguments.heads, arguments.public_key};
}

int verify(const Arguments& arguments) {
  auto store = open(arguments, OpenMode::kRead);
  return store ? verify_journal(**store, proof_files(arguments)) : fail(store.error());
}

int prove(const Arguments& arguments) {
  // A record's head holds no reading of a patient, but it names who was treated when: noted.
  auto store = open(arguments, OpenMode::kCommand);
  bool unwritable = !store && store.error().code == base::ErrorCode::kIo;
  if (unwritable) {
    store = open(arguments, OpenMode::kRead);
  }
  if (!store) {
    return fail(store.error());
  }
  if (arguments.position == 0) {
    return prove_growth(**store, proof_files(arguments), arguments.from, arguments.to);
  }
  auto look = look_at(**store, arguments.position, "record-proved");
  if (!look && look.error().code == base::ErrorCode::kNotFound) {
    return fail(look.error());
  }
  if (!look) {
    look = Look{"record-proved", "", 0, "", ""};  // the proof tells what is wrong with it
  }
  if (!unwritable) {
    const auto noted = note_read(**store, arguments, {*look});
    unwritable = !noted && noted.error().code == base::ErrorCode::kIo;  // a full disk
    if (!noted && !unwritable) {
      return fail(noted.error());
    }
  }
  if (unwritable) {
    std::fprintf(stderr,
                 "chartferry journal: the journal cannot be written: nobody's looking is "
                 "recorded in it\n");
  }
  return prove_record(**store, proof_files(arguments), arguments.position);
}

int export_records(const Arguments& arguments) {
  auto store = open(arguments, OpenMode::kCommand);
  if (!store) {
    return fail(store.error());
  }
  auto query = query_of(**store, arguments);
  if (!query) {
    return fail(query.error());
  }
  // What is written meanwhile is not exported: whom it is about would not be noted.
  const auto last = (*store)->size();
  if (auto told = remark_a_stranger(**store, query->patient); !told) {
    return fail(told.error());
  }
  const auto looks = last ? looks_at(**store, *query, *last, "exported") : last.error();
  if (!looks) {
    return fail(looks.error());
  }
  if (auto noted = note_read(**store, arguments, *looks); !noted) {
    return fail(noted.error());
  }
  return export_journal(**store, proof_files(arguments), std::move(*query), *last,
                        arguments.folder);
}

int reconcile(const Arguments& arguments) {
  auto store = open(arguments, OpenMode::kRead);
  const std::string target = arguments.target.empty() ? "main" : arguments.target;
  const auto known = store ? check_target(**store, target) : store.error();
  return known ? reconcile_journal(**store, {target, arguments.since, arguments.until},
                                   arguments.server, arguments.as_json)
               : fail(known.error());
}

// No engine begins on it meanwhile, and none is at work. Held from before the store is opened until
// it is closed (file_lock.h). Where nothing can be written, nobody does.
base::Result<journal::FileLock> end_of_writing(const std::string& location) {
  if (journal::is_database(location) || ::access(location.c_str(), F_OK) != 0) {
    return journal::FileLock();
  }
  auto lock = journal::FileLock::take(location);
  return lock || lock.error().code == base::ErrorCode::kConflict ? std::move(lock)
                                                                 : journal::FileLock();
}

int copy_records(const Arguments& arguments) {
  const auto ended = end_of_writing(arguments.from_journal);
  auto from = journal::open_store({arguments.from_journal, OpenMode::kRead});
  if (!from) {
    return fail(from.error());
  }
  auto to = journal::open_store({arguments.to_journal, OpenMode::kCopy});
  if (!to) {
    return fail(to.error());
  }
  const bool shown = ::isatty(STDERR_FILENO) == 1;
  const auto report =
      journal::copy_journal(**from, **to, ended.has_value(), [shown](journal::Position there) {
        if (shown) {
          std::fprintf(stderr, "\r%llu records", static_cast<unsigned long long>(there));
        }
      });
  if (!report) {
    return fail(report.error());
  }
  std::printf("%llu records were there, %llu copied; both journals have the root %s\n",
              static_cast<unsigned long long>(report->there),
              static_cast<unsigned long long>(report->copied), base::to_hex(report->root).c_str());
  if (!report->whole) {
    std::fprintf(
        stderr,
        "chartferry journal: an engine still writes the journal that is copied; end it and "
        "copy again: until then no engine starts on the copy\n");
    return kNo;
  }
  return kOk;
}

int steer(const Arguments& arguments, intake::Steer action) {
  auto store = open(arguments, OpenMode::kCommand);
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
  const auto known = check_named_target(**store, arguments);
  auto targets = known ? delivery::last_configured(**store) : known.error();
  if (!targets) {
    return fail(targets.error());
  }
  request.targets = std::move(*targets);
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
  if (outcome->record.revived != 0) {
    std::printf("revision %u, which it had superseded, is held again; remap it when it is to go\n",
                outcome->record.revived);
  }
  return kOk;
}

// The commands by which a person moves a session on.
struct Steering {
  Steering(CLI::App& app, Arguments& arguments)
      : release(add_steer(app, arguments, "release", "send a held session after all")),
        remap(add_steer(app, arguments, "remap", "translate a held session again")),
        move(add_move(app, arguments, wanted)) {
    add_steer(app, arguments, "withdraw",
              "give a held session up, or one that waits for a target that is not configured");
  }
  int run(const Arguments& arguments) const {
    if (move->parsed()) {
      auto store = open(arguments, OpenMode::kCommand);
      return store ? move_in_journal(**store, arguments, wanted) : fail(store.error());
    }
    return steer(arguments, release->parsed() ? intake::Steer::kRelease
                            : remap->parsed() ? intake::Steer::kRemap
                                              : intake::Steer::kWithdraw);
  }

  MoveArguments wanted;
  CLI::App* release;
  CLI::App* remap;
  CLI::App* move;
};

int targets(const Arguments& arguments) {
  auto store = open(arguments, OpenMode::kRead);
  return store ? list_targets(**store, arguments.as_json) : fail(store.error());
}

int pause(const Arguments& arguments, bool pause) {
  auto store = open(arguments, OpenMode::kCommand);
  if (!store) {
    return fail(store.error());
  }
  const auto outcome =
      steer_target(**store, {arguments.target, pause, arguments.who, arguments.why});
  if (!outcome) {
    return fail(outcome.error());
  }
  print_line(outcome->record);
  if (pause) {
    const auto left = on_its_way(**store, arguments.target);
    std::printf(
        "a running engine follows within a second; what is on its way then%s may still land\n",
        left.c_str());
  }
  return kOk;
}

void add_places(CLI::App& app, Arguments& arguments) {
  app.add_option("--journal", arguments.journal,
                 "the journal's file, or postgresql://USER@HOST/DATABASE");
  app.add_option("--files", arguments.files,
                 "of a journal in a database: prefix of its keys' and heads' files (default: "
                 "journal)");
  app.add_option("--journal-key", arguments.journal_keys,
                 "file of the master key that bodies are sealed under");
}

}  // namespace

int run_journal(int argc, char** argv) {
  CLI::App app("The journal: what was taken in, sent and landed.", "chartferry journal");
  Arguments arguments;
  arguments.who = account_name();
  add_places(app, arguments);
  app.require_subcommand(1);
  app.fallthrough();
  CLI::App* const list_command = add_list(app, arguments);
  CLI::App* const show_command = add_show(app, arguments);
  CLI::App* const verify_command = add_verify(app, arguments);
  CLI::App* const prove_command = add_prove(app, arguments);
  CLI::App* const export_command = add_export(app, arguments);
  CLI::App* const reconcile_command = add_reconcile(app, arguments);
  CLI::App* const targets_command = add_targets(app, arguments);
  CLI::App* const pause_command =
      add_pause(app, arguments, "pause", "send nothing to a target until it is resumed");
  CLI::App* const resume_command =
      add_pause(app, arguments, "resume", "go on sending to a paused target");
  CLI::App* const copy_command = add_copy(app, arguments);
  KeepingArguments keeping;
  keeping.who = arguments.who;
  add_keeping(app, keeping);
  ReportArguments report_arguments;
  report_arguments.who = arguments.who;
  CLI::App* const report_command = add_report(app, report_arguments);
  const Steering steering(app, arguments);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& problem) {
    return app.exit(problem) == 0 ? kOk : kUsage;
  }
  if (copy_command->parsed()) {
    return copy_records(arguments);
  }
  if (arguments.journal.empty()) {
    std::fprintf(stderr, "chartferry journal: say which one with --journal\n");
    return kUsage;
  }
  if (keeping.parsed()) {
    return run_keeping(arguments.journal, files_of(arguments.journal, arguments.files),
                       arguments.journal_keys, std::move(keeping));
  }
  if (report_command->parsed()) {
    report_arguments.journal_keys = arguments.journal_keys;
    return run_report(arguments.journal, files_of(arguments.journal, arguments.files),
                      std::move(report_arguments));
  }
  if (auto good = check_arguments(arguments); !good) {
    return fail(good.error());
  }
  const std::pair<CLI::App*, int (*)(const Arguments&)> plain[] = {{list_command, list},
                                                                   {show_command, show},
                                                                   {verify_command, verify},
                                                                   {prove_command, prove},
                                                                   {export_command, export_records},
                                                                   {reconcile_command, reconcile},
                                                                   {targets_command, targets}};
  for (const auto& [command, run] : plain) {
    if (command->parsed()) {
      return run(arguments);
    }
  }
  if (pause_command->parsed() || resume_command->parsed()) {
    return pause(arguments, pause_command->parsed());
  }
  return steering.run(arguments);
}

}  // namespace engine::cli
