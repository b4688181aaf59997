#include "engine/cli/journal_keeping.h"

#include <algorithm>
#include <cstddef>
#include <cstdio>
#include <set>
#include <utility>

#include <CLI/CLI.hpp>

#include "engine/base/limits.h"
#include "engine/cli/commands.h"
#include "engine/cli/given_words.h"
#include "engine/cli/journal_keys.h"
#include "engine/cli/journal_report.h"
#include "engine/cli/noted_reads.h"
#include "engine/cli/shown_text.h"
#include "engine/cli/system_seams.h"
#include "engine/journal/keeping.h"
#include "engine/journal/open_store.h"
#include "engine/journal/retention.h"
#include "engine/journal/search_key.h"
#include "engine/journal/words.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using journal::Change;
using journal::Kind;
using journal::Outcome;
using journal::Store;

int fail(const Error& error) {
  std::fprintf(stderr, "chartferry journal: %s\n", shown_text(error.text()).c_str());
  return kUsage;
}

int no(const std::string& why) {
  std::fprintf(stderr, "chartferry journal: %s\n", why.c_str());
  return kNo;
}

unsigned long long wide(std::uint64_t number) {
  return number;
}

Result<Outcome> append(Store& store, Change change) {
  const SystemClock clock;
  std::vector<Change> batch;
  batch.push_back(std::move(change));
  auto outcomes = store.commit(batch, clock);
  if (!outcomes) {
    return std::move(outcomes).error();
  }
  return std::move(outcomes->front());
}

Change change_of(Kind kind, const KeepingArguments& arguments) {
  Change change;
  change.record.kind = kind;
  change.record.actor = arguments.who;
  change.record.why = arguments.why;
  return change;
}

// As the journal hides the name.
Result<std::string> hidden_patient(const Store& store, const std::string& files,
                                   const KeepingArguments& arguments) {
  const auto patient = named_patient(arguments.patient, arguments.patient_file);
  if (!patient) {
    return patient.error();
  }
  if (patient->empty()) {
    return Error(ErrorCode::kInvalid,
                 "whose? --patient-file FILE (or -), or --patient SYSTEM|VALUE");
  }
  const auto key = journal::load_search_key(
      store, arguments.key_file.empty() ? files + ".key" : arguments.key_file);
  return key ? Result<std::string>(key->hide(*patient)) : key.error();
}

// The keys that are given and the new one; all of them are needed until the last key is wrapped
// anew.
int rotate(const std::string& location, std::vector<std::string> keys,
           const KeepingArguments& arguments) {
  const auto fresh = journal::MasterKeys::load({arguments.new_key});
  if (!fresh) {
    return fail(fresh.error());
  }
  const auto given = journal::MasterKeys::load(keys);
  if (!given) {
    return fail(given.error());
  }
  const std::string next = fresh->ids().front();
  const auto known = given->ids();
  if (!known.empty() &&
      std::count(known.begin(), known.end(), next) == static_cast<std::ptrdiff_t>(known.size())) {
    // Whoever then destroys what they take for the key of before destroys the only one.
    return fail(Error(ErrorCode::kConflict,
                      "the new master key is the one given as --journal-key; "
                      "nothing was exchanged"));
  }
  keys.push_back(arguments.new_key);
  auto sealing = sealing_of(keys);
  if (!sealing) {
    return fail(sealing.error());
  }
  auto store =
      journal::open_store({location, journal::OpenMode::kCommand, "", std::move(*sealing)});
  if (!store) {
    return fail(store.error());
  }
  const auto before = (*store)->master();
  if (!before) {
    return fail(before.error());
  }
  if (before->empty()) {
    return no("this journal is not sealed; start the engine with journal-key");
  }
  std::size_t wrapped = 0;
  while (true) {
    const auto done = (*store)->rewrap(next, base::limits::kRewrappedAtOnceMax);
    if (!done) {
      return fail(done.error());
    }
    wrapped += *done;
    if (*done < base::limits::kRewrappedAtOnceMax) {
      break;
    }
  }
  Change change = change_of(Kind::kRekeyed, arguments);
  change.record.reason = "master=" + next;
  const auto outcome = append(**store, std::move(change));
  if (!outcome) {
    return fail(outcome.error());
  }
  std::printf(
      "%zu data keys are wrapped under the master key %s, which is in force; the one before "
      "is not needed any more (record %llu)\n",
      wrapped, next.c_str(), wide(outcome->record.position));
  return kOk;
}

std::string refusal_of(const std::string& code) {
  if (code == journal::keeping::kOnHold) {
    return "a legal hold stands on this patient, or on somebody else whom a session of theirs was "
           "about (journal holds); nothing was destroyed";
  }
  if (code == journal::keeping::kUnsent) {
    return "sessions of this patient have not ended (waiting or held); send or withdraw them, or "
           "say --even-unsent; nothing was destroyed";
  }
  return "the journal holds no bodies of this patient";
}

int shred(Store& store, const std::string& patient, const KeepingArguments& arguments) {
  Change change = change_of(Kind::kShredded, arguments);
  change.record.patient = patient;
  change.record.reason = arguments.even_unsent ? journal::keeping::kEvenUnsent : "";
  const auto outcome = append(store, std::move(change));
  if (!outcome) {
    return fail(outcome.error());
  }
  if (outcome->verdict != Outcome::Verdict::kWritten) {
    return no(refusal_of(outcome->record.reason));
  }
  const auto list = store.part(outcome->record.position, journal::kDestroyedPart);
  const auto what =
      list ? journal::parse_destruction(*list) : Result<journal::Destruction>(list.error());
  if (!what) {
    return fail(what.error());
  }
  std::size_t records = 0;
  for (const journal::Span& span : what->records) {
    records += span.last - span.first + 1;
  }
  std::printf(
      "%zu data keys are destroyed, and the bodies of %zu records that were not sealed "
      "(record %llu)\n",
      what->keys.size(), records, wide(outcome->record.position));
  return kOk;
}

int hold(Store& store, const std::string& patient, const KeepingArguments& arguments) {
  // A hold may be meant for somebody who is yet to come; a slip of the pen looks the same.
  const auto stranger = is_a_stranger(store, patient);
  if (!stranger) {
    return fail(stranger.error());
  }
  Change change = change_of(Kind::kHold, arguments);
  change.record.patient = patient;
  const auto outcome = append(store, std::move(change));
  if (!outcome) {
    return fail(outcome.error());
  }
  if (*stranger) {
    std::fprintf(stderr,
                 "chartferry journal: this journal has no session of this patient; the hold is set "
                 "all the same: look whether system, value and --key are right\n");
  }
  std::printf("nothing of this patient is destroyed until `journal end-hold %llu`\n",
              wide(outcome->record.position));
  return kOk;
}

int end_hold(Store& store, const KeepingArguments& arguments) {
  const auto standing = store.legal_holds();
  if (!standing) {
    return fail(standing.error());
  }
  for (const journal::Record& one : *standing) {
    if (one.position == arguments.position) {
      Change change = change_of(Kind::kHoldEnded, arguments);
      change.record.patient = one.patient;
      change.record.through = one.position;
      const auto outcome = append(store, std::move(change));
      if (!outcome) {
        return fail(outcome.error());
      }
      std::printf("the hold has ended (record %llu)\n", wide(outcome->record.position));
      return kOk;
    }
  }
  return no("no hold stands with this number; see journal holds");
}

int list_holds(const Store& store) {
  const auto standing = store.legal_holds();
  if (!standing) {
    return fail(standing.error());
  }
  for (const journal::Record& one : *standing) {
    const std::string what =
        one.time + " patient " + one.patient + " by " + one.actor + " (" + one.why + ")";
    std::printf("%8llu %s\n", wide(one.position), shown_text(what).c_str());
  }
  return kOk;
}

Result<Outcome> remove_before(Store& store, const std::string& cutoff,
                              const KeepingArguments& arguments, bool even_nothing) {
  Change change = change_of(Kind::kExpired, arguments);
  change.record.reason = "before " + cutoff;
  change.destroy_before = cutoff;
  change.destroy_max = base::limits::kRemovedAtOnceMax;
  change.even_nothing = even_nothing;
  return append(store, std::move(change));
}

// Whose bodies a destroying record removed.
struct Removed {
  std::size_t records = 0;
  std::set<std::string> sessions;
};

// The spans name records without bodies between others, and such as had lost theirs `before`. False
// when there are none.
Result<bool> count_removed(const Store& store, const Outcome& outcome,
                           const journal::Destruction& before, Removed& removed) {
  const auto list = store.part(outcome.record.position, journal::kDestroyedPart);
  const auto what =
      list ? journal::parse_destruction(*list) : Result<journal::Destruction>(list.error());
  if (!what) {
    return what.error();
  }
  for (const journal::Span& span : what->records) {
    for (journal::Position at = span.first; at <= span.last; ++at) {
      const auto head = store.head(at);
      if (!head && head.error().code != ErrorCode::kCorrupt) {
        return head.error();
      }
      if (head && !head->parts.empty() && !before.holds(at)) {
        ++removed.records;
        removed.sessions.insert(head->record.session);
      }
    }
  }
  removed.sessions.erase("");
  return !what->records.empty();
}

Result<journal::Destruction> destroyed_before(const Store& store) {
  const auto rows = store.destroyed_rows();
  if (!rows) {
    return rows.error();
  }
  std::vector<journal::Span> spans;
  for (const journal::DestroyedRow& row : *rows) {
    if (row.key.empty()) {
      spans.push_back({row.first, row.last});
    }
  }
  journal::Destruction out;
  out.records = journal::joined(std::move(spans));
  return out;
}

// Its records tell each engine of the journal that a person believes the clock; so there is one
// also when nothing is that old.
int expire(Store& store, const KeepingArguments& arguments) {
  const auto retention = journal::parse_retention(arguments.retention);
  if (!retention) {
    return fail(retention.error());
  }
  const auto before = destroyed_before(store);
  if (!before) {
    return fail(before.error());
  }
  const SystemClock clock;
  const std::string cutoff = journal::cutoff_of(*retention, clock.now());
  Removed removed;
  journal::Position last = 0;
  for (bool more = true; more;) {
    const auto outcome = remove_before(store, cutoff, arguments, last == 0);
    if (!outcome) {
      return fail(outcome.error());
    }
    if (outcome->verdict != Outcome::Verdict::kWritten) {
      break;
    }
    last = outcome->record.position;
    const auto counted = count_removed(store, *outcome, *before, removed);
    if (!counted) {
      return fail(counted.error());
    }
    more = *counted;
  }
  std::printf(
      "bodies of %zu records of %zu sessions, of before %s, are removed (record %llu); those of "
      "sessions that have not ended or are on hold are kept\n",
      removed.records, removed.sessions.size(), cutoff.c_str(), wide(last));
  return kOk;
}

void add_words(CLI::App& command, KeepingArguments& arguments) {
  command.add_option("--who", arguments.who, "who does this (default: the account's name)");
  command.add_option("--why", arguments.why, "the reason; it is kept")->required();
}

void add_patient(CLI::App& command, KeepingArguments& arguments) {
  auto* patient = command.add_option("--patient", arguments.patient, "SYSTEM|VALUE");
  command
      .add_option("--patient-file", arguments.patient_file,
                  "file that holds SYSTEM|VALUE on one line; - for the input")
      ->excludes(patient);
  command.add_option("--key", arguments.key_file, "key of the search (default: JOURNAL.key)");
  add_words(command, arguments);
}

}  // namespace

bool KeepingArguments::parsed() const {
  for (const CLI::App* one : {rotate, shred, hold, end_hold, holds, expire}) {
    if (one->parsed()) {
      return true;
    }
  }
  return false;
}

void add_keeping(CLI::App& app, KeepingArguments& arguments) {
  arguments.rotate = app.add_subcommand(
      "rotate-key", "wrap all data keys under another master key; bodies stay as they are");
  arguments.rotate->add_option("--new", arguments.new_key, "file of the new master key")
      ->required();
  add_words(*arguments.rotate, arguments);
  arguments.shred = app.add_subcommand(
      "shred", "destroy for good what can be read of a patient's bodies; the proofs stay");
  arguments.shred->add_flag("--even-unsent", arguments.even_unsent,
                            "although sessions of the patient have not ended");
  add_patient(*arguments.shred, arguments);
  arguments.hold =
      app.add_subcommand("hold", "a legal hold: destroy nothing of a patient until it ends");
  add_patient(*arguments.hold, arguments);
  arguments.end_hold = app.add_subcommand("end-hold", "end a legal hold");
  arguments.end_hold->add_option("position", arguments.position, "its record")->required();
  add_words(*arguments.end_hold, arguments);
  arguments.holds = app.add_subcommand("holds", "the legal holds that stand");
  arguments.expire =
      app.add_subcommand("expire", "remove bodies of ended sessions that are older than a time");
  arguments.expire
      ->add_option("--retention", arguments.retention, "\"10 years\", \"18 months\", \"90 days\"")
      ->required();
  add_words(*arguments.expire, arguments);
}

int run_keeping(const std::string& location, const std::string& files,
                const std::vector<std::string>& journal_keys, KeepingArguments arguments) {
  if (!arguments.holds->parsed()) {
    if (auto good = journal::check_words(arguments.who, arguments.why); !good) {
      return fail(good.error());
    }
    auto actor = actor_of(arguments.who);
    if (!actor) {
      return fail(actor.error());
    }
    arguments.who = std::move(*actor);
  }
  if (arguments.rotate->parsed()) {
    return rotate(location, journal_keys, arguments);
  }
  const auto mode =
      arguments.holds->parsed() ? journal::OpenMode::kRead : journal::OpenMode::kCommand;
  auto store = journal::open_store({location, mode});
  if (!store) {
    return fail(store.error());
  }
  const bool of_patient = arguments.shred->parsed() || arguments.hold->parsed();
  const auto patient =
      of_patient ? hidden_patient(**store, files, arguments) : Result<std::string>(std::string());
  if (!patient) {
    return fail(patient.error());
  }
  return arguments.shred->parsed()      ? shred(**store, *patient, arguments)
         : arguments.hold->parsed()     ? hold(**store, *patient, arguments)
         : arguments.end_hold->parsed() ? end_hold(**store, arguments)
         : arguments.expire->parsed()   ? expire(**store, arguments)
                                        : list_holds(**store);
}

}  // namespace engine::cli
