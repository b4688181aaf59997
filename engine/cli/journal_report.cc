#include "engine/cli/journal_report.h"

#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <memory>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>

#include "engine/base/limits.h"
#include "engine/cli/commands.h"
#include "engine/cli/given_words.h"
#include "engine/cli/journal_keys.h"
#include "engine/cli/noted_reads.h"
#include "engine/cli/read_file.h"
#include "engine/cli/report_lines.h"
#include "engine/journal/open_store.h"
#include "engine/journal/search_key.h"
#include "engine/journal/words.h"
#include "engine/replay/delay.h"
#include "engine/replay/reports.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;

void add_common(CLI::App& command, ReportArguments& arguments) {
  command.add_option("--since", arguments.since, "instant, 2026-03-02T08:00:00Z");
  command.add_option("--until", arguments.until, "instant, exclusive");
  command.add_option("--format", arguments.format, "table (default) or ndjson")
      ->check(CLI::IsMember({"table", "ndjson"}));
  command.add_option("--who", arguments.who, "who asks (default: the account's name)");
  command.add_option("--why", arguments.why, "the reason for looking; it is kept")->required();
}

void add_patient(CLI::App& command, ReportArguments& arguments) {
  auto* patient = command.add_option("--patient", arguments.patient,
                                     "SYSTEM|VALUE; others on this machine can see arguments");
  command
      .add_option("--patient-file", arguments.patient_file,
                  "a file that holds SYSTEM|VALUE on one line; - is the input")
      ->excludes(patient);
  command.add_option("--key", arguments.key_file, "key of the search (default: JOURNAL.key)");
}

}  // namespace

base::Result<std::string> named_patient(std::string patient, const std::string& file) {
  if (!file.empty()) {
    auto read = read_file(file, base::limits::kPersonWordsBytesMax);
    if (!read) {
      return std::move(read).error();
    }
    const std::size_t end = std::min(read->find_first_of("\r\n"), read->size());
    patient = read->substr(0, end);
    if (patient.empty()) {
      return Error(ErrorCode::kInvalid, "the first line holds no SYSTEM|VALUE", file);
    }
    if (read->find_first_not_of(" \t\r\n", end) != std::string::npos) {
      return Error(ErrorCode::kInvalid,
                   "there is more than one line; give one patient at a time, each in a file", file);
    }
  }
  if (auto good = check_identifier(patient, "patient"); !good) {
    return std::move(good).error();
  }
  return patient;
}

namespace {

struct Asked {
  std::unique_ptr<journal::Store> store;
  std::string patient;  // hidden
  std::string therapist;
  replay::Range range;
  journal::Position through = 0;  // records that were there when it was asked
};

base::Result<Asked> ask(const std::string& journal, const std::string& files,
                        const ReportArguments& arguments) {
  Asked asked;
  auto patient = named_patient(arguments.patient, arguments.patient_file);
  if (!patient) {
    return std::move(patient).error();
  }
  if (auto good = check_identifier(arguments.therapist, "therapist"); !good) {
    return std::move(good).error();
  }
  auto sealing = sealing_of(arguments.journal_keys);
  if (!sealing) {
    return std::move(sealing).error();
  }
  auto store = journal::open_store({journal, journal::OpenMode::kCommand, "", std::move(*sealing)});
  if (!store) {
    return std::move(store).error();
  }
  asked.store = std::move(*store);
  if (!patient->empty() || !arguments.therapist.empty()) {
    const auto key = journal::load_search_key(
        *asked.store, arguments.key_file.empty() ? files + ".key" : arguments.key_file);
    if (!key) {
      return key.error();
    }
    asked.patient = key->hide(*patient);
    asked.therapist = key->hide(arguments.therapist);
  }
  asked.range = {arguments.since, arguments.until};
  const auto size = asked.store->size();
  asked.through = size ? *size : 0;
  return size ? base::Result<Asked>(std::move(asked)) : size.error();
}

int fail(const Error& error) {
  std::fprintf(stderr, "chartferry journal report: %s\n", error.text().c_str());
  return kUsage;
}

int usage(const char* text) {
  std::fprintf(stderr, "chartferry journal report: %s\n", text);
  return kUsage;
}

// A record without one has 0.
std::string number(std::int64_t value) {
  return value == 0 ? std::string() : std::to_string(value);
}

base::Result<std::uint64_t> count_of(const base::Result<replay::Unread>& unread) {
  return unread ? base::Result<std::uint64_t>(unread->size()) : unread.error();
}

// What a report cannot know it says: rows that look complete would hide it.
void print_unreadable(std::uint64_t count, bool as_json) {
  const auto records = static_cast<unsigned long long>(count);
  if (count > 0 && as_json) {
    std::printf("{\"unreadable\":%llu}\n", records);
  } else if (count > 0) {
    std::printf("%llu records cannot be read any more and are left out; see journal verify\n",
                records);
  }
}

base::Result<std::uint64_t> run_disclosures(const Asked& asked, ReportLines& lines) {
  lines.head({"record", "time", "what", "session", "revision", "target", "status", "reason", "who",
              "why"});
  return count_of(replay::disclosures(
      *asked.store, asked.patient, asked.range, [&lines](const replay::Disclosure& one) {
        const journal::Record& record = one.record;
        lines.row({std::to_string(record.position), record.time,
                   std::string(replay::name_of(one.what)), record.session, number(record.revision),
                   record.target, number(record.status), record.reason, record.actor, record.why});
      }));
}

base::Result<std::uint64_t> run_activity(const Asked& asked, const std::string& actor,
                                         ReportLines& lines) {
  lines.head({"record", "time", "did", "session", "revision", "target", "reason", "who", "why"});
  bool found = false;
  const auto unread = replay::activity(
      *asked.store, {asked.therapist, actor}, asked.range,
      [&](const journal::Record& record, const std::string& why) {
        found = true;
        lines.row({std::to_string(record.position), record.time,
                   std::string(journal::name_of(record.kind)), record.session,
                   number(record.revision), record.target, record.reason, record.actor, why});
      });
  if (unread && !found) {
    // No rows would look the same when a name is written otherwise than the journal has it.
    std::fprintf(stderr,
                 "chartferry journal report: no record within this is of that person; 'journal "
                 "list' shows names as they are written, 'Robin Sample (robin)'\n");
  }
  return count_of(unread);
}

// One for each patient of whom something is to be shown.
base::Result<std::vector<Look>> looks_at_corrections(const Asked& asked, const Look& look) {
  std::set<std::string> patients;
  const auto read = replay::corrections(
      *asked.store, asked.patient, asked.range, [&](const replay::Correction& one) {
        if (one.record.position <= asked.through) {
          patients.insert(one.patients.begin(), one.patients.end());
        }
      });
  if (!read) {
    return read.error();
  }
  std::vector<Look> looks;
  for (const std::string& patient : patients) {
    looks.push_back(look);
    looks.back().patient = patient;
  }
  return looks.empty() ? std::vector<Look>{look} : looks;
}

base::Result<std::uint64_t> run_corrections(const Asked& asked, ReportLines& lines) {
  lines.head({"record", "time", "session", "revision", "corrects", "states", "element", "before",
              "after", "who", "why"});
  return count_of(replay::corrections(
      *asked.store, asked.patient, asked.range, [&](const replay::Correction& one) {
        if (one.record.position > asked.through) {
          return;  // nobody wrote down that it is looked at
        }
        std::vector<replay::ElementChange> changes = one.changes;
        if (one.more > 0) {
          changes.push_back({"and " + std::to_string(one.more) + " more", "", ""});
        }
        if (changes.empty()) {
          changes.emplace_back();
        }
        for (const replay::ElementChange& change : changes) {
          lines.row({std::to_string(one.record.position), one.record.time, one.record.session,
                     std::to_string(one.record.revision), std::to_string(one.earlier), one.states,
                     change.path, change.before, change.after, one.author, one.reason});
        }
      }));
}

base::Result<std::uint64_t> run_delay(const Asked& asked, ReportLines& lines) {
  const auto report = replay::delays(*asked.store, asked.range);
  if (!report) {
    return report.error();
  }
  lines.head({"target", "therapist", "until", "sessions", "median-s", "p90-s", "p99-s", "worst-s",
              "before-end"});
  for (const replay::DelayRow& row : report->rows) {
    for (const auto& [until, delays] :
         {std::pair("accepted", &row.accepted), std::pair("landed", &row.landed)}) {
      lines.row({row.target, row.therapist.empty() ? "all" : row.therapist, until,
                 std::to_string(delays->count()), std::to_string(delays->seconds_at(0.5)),
                 std::to_string(delays->seconds_at(0.9)), std::to_string(delays->seconds_at(0.99)),
                 std::to_string(delays->worst()), std::to_string(delays->early())});
    }
  }
  if (report->untimed > 0) {
    std::fprintf(stderr,
                 "chartferry journal report: %llu landings without a time to measure from\n",
                 static_cast<unsigned long long>(report->untimed));
  }
  return report->unreadable;
}

}  // namespace

CLI::App* add_report(CLI::App& app, ReportArguments& arguments) {
  CLI::App* report = app.add_subcommand("report", "for auditors; each asking is written down");
  report->require_subcommand(1);
  report->fallthrough();
  arguments.disclosures =
      report->add_subcommand("disclosures", "where a patient's sessions went, and who read them");
  add_patient(*arguments.disclosures, arguments);
  arguments.activity = report->add_subcommand("activity", "what a person did, and why");
  arguments.activity->add_option("--therapist", arguments.therapist,
                                 "SYSTEM|VALUE of who enters sessions");
  arguments.activity->add_option(
      "--actor", arguments.actor,
      "name of who reads, releases, pauses ..., signed in or on a command line");
  arguments.activity->add_option("--key", arguments.key_file,
                                 "key of the search (default: JOURNAL.key)");
  arguments.corrections =
      report->add_subcommand("corrections", "what later revisions changed, before and after");
  add_patient(*arguments.corrections, arguments);
  arguments.delay = report->add_subcommand("delay", "from the treatment's end to the record");
  for (CLI::App* one :
       {arguments.disclosures, arguments.activity, arguments.corrections, arguments.delay}) {
    add_common(*one, arguments);
  }
  return report;
}

int run_report(const std::string& journal, const std::string& files, ReportArguments arguments) {
  const bool disclosures = arguments.disclosures->parsed();
  const bool activity = arguments.activity->parsed();
  if (disclosures && arguments.patient.empty() && arguments.patient_file.empty()) {
    return usage("whose? --patient-file FILE (or -), or --patient SYSTEM|VALUE");
  }
  if (activity && arguments.therapist.empty() && arguments.actor.empty()) {
    return usage("whose? --therapist SYSTEM|VALUE, --actor NAME, or both");
  }
  const auto actor = actor_of(arguments.who);
  if (!actor) {
    return fail(actor.error());
  }
  if (auto good = put_in_utc(arguments.since, arguments.until); !good) {
    return fail(good.error());
  }
  if (auto good = journal::check_words(*actor, arguments.why); !good) {
    return fail(good.error());
  }
  auto asked = ask(journal, files, arguments);
  if (!asked) {
    return fail(asked.error());
  }
  const bool corrections = arguments.corrections->parsed();
  const char* what = disclosures   ? "report-disclosures"
                     : activity    ? "report-activity"
                     : corrections ? "report-corrections"
                                   : "report-delay";
  const Look look{what, "", 0, asked->patient, asked->therapist};
  const auto looks = corrections ? looks_at_corrections(*asked, look) : std::vector<Look>{look};
  if (disclosures || corrections) {
    if (auto told = remark_a_stranger(*asked->store, asked->patient); !told) {
      return fail(told.error());
    }
  }
  const auto noted = looks ? note_looks(*asked->store, {*actor, arguments.why}, *looks)
                           : base::Result<void>(looks.error());
  if (!noted) {
    return fail(noted.error());
  }
  ReportLines lines(arguments.format == "ndjson");
  auto done = disclosures   ? run_disclosures(*asked, lines)
              : activity    ? run_activity(*asked, arguments.actor, lines)
              : corrections ? run_corrections(*asked, lines)
                            : run_delay(*asked, lines);
  lines.flush();
  if (!done) {
    return fail(done.error());
  }
  print_unreadable(*done, arguments.format == "ndjson");
  return kOk;
}

}  // namespace engine::cli
