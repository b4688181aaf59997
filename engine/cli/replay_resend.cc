#include "engine/cli/replay_resend.h"

#include <cstdio>
#include <string>
#include <utility>
#include <vector>

#include "engine/cli/commands.h"
#include "engine/cli/journal_targets.h"
#include "engine/cli/target_peer.h"
#include "engine/delivery/http_peer.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

using Named = std::vector<replay::ResendReport::Named>;

unsigned long long wide(std::uint64_t number) {
  return number;
}

void add_named(std::string& out, const char* name, const Named& all) {
  out += std::string(",\"") + name + "\":[";
  for (const auto& one : all) {
    out += out.back() == '[' ? "{\"session\":" : ",{\"session\":";
    json::write_string(one.session, out);
    out += ",\"revision\":" + std::to_string(one.revision) +
           ",\"position\":" + std::to_string(one.position) + "}";
  }
  out += "]";
}

void print_json(const replay::ResendPlan& plan, const replay::ResendReport& report) {
  std::string out =
      "{\"sent\":" + std::to_string(report.sent) + ",\"there\":" + std::to_string(report.there) +
      ",\"inPart\":" + std::to_string(report.in_part) +
      ",\"destroyed\":" + std::to_string(report.destroyed) +
      ",\"unreadable\":" + std::to_string(report.unreadable) +
      ",\"held\":" + std::to_string(plan.held) + ",\"waiting\":" + std::to_string(plan.waiting) +
      ",\"last\":" + std::to_string(report.last) +
      ",\"complete\":" + (report.complete() ? "true" : "false");
  add_named(out, "inPartSessions", report.in_part_named);
  add_named(out, "destroyedSessions", report.destroyed_named);
  if (report.stopped_at != 0) {
    out += ",\"stoppedAt\":" + std::to_string(report.stopped_at) + ",\"session\":";
    json::write_string(report.session, out);
    out += ",\"revision\":" + std::to_string(report.revision) + ",\"reason\":";
    json::write_string(report.reason, out);
    out += std::string(",\"partly\":") + (report.partly ? "true" : "false");
    if (!report.about.empty()) {
      out += ",\"about\":";
      json::write_string(report.about, out);
    }
  }
  std::printf("%s}\n", out.c_str());
}

void print_named(const Named& all, std::uint64_t count) {
  for (const auto& one : all) {
    std::printf("  session %s/%u, record %llu\n", one.session.c_str(), one.revision,
                wide(one.position));
  }
  if (count > all.size()) {
    std::printf("  ... and %llu more\n", wide(count - all.size()));
  }
}

void print_text(const std::string& target, const replay::ResendPlan& plan,
                const replay::ResendReport& report) {
  std::printf("%llu landings sent again", wide(report.sent));
  if (report.there > 0) {
    std::printf(", of which %llu were there already", wide(report.there));
  }
  std::printf("\n");
  if (report.in_part > 0) {
    std::printf(
        "%llu were there in part, and what was missing was made anew; somebody may have deleted "
        "it there:\n",
        wide(report.in_part));
    print_named(report.in_part_named, report.in_part);
  }
  if (report.unreadable > 0) {
    std::printf(
        "%llu landings cannot be read in the journal and are left out; see journal verify\n",
        wide(report.unreadable));
  }
  if (report.destroyed > 0) {
    std::printf("%llu were destroyed in the journal and are left out:\n", wide(report.destroyed));
    print_named(report.destroyed_named, report.destroyed);
  }
  if (plan.held + plan.waiting > 0) {
    std::printf(
        "of %s %llu revisions are held and %llu wait: they are not sent; see journal list "
        "--state\n",
        target.c_str(), wide(plan.held), wide(plan.waiting));
  }
  if (report.broken_off) {
    std::printf("BROKEN OFF behind record %llu; go on with --after %llu\n", wide(report.last),
                wide(report.last));
  }
  if (report.stopped_at != 0) {
    std::printf("STOPPED at record %llu, session %s/%u: %s%s%s; go on with --after %llu\n",
                wide(report.stopped_at), report.session.c_str(), report.revision,
                report.reason.c_str(),
                report.about.empty() ? "" : (" (" + report.about + ")").c_str(),
                report.partly ? "; a part of it is there" : "", wide(report.last));
  }
}

int fail(const base::Error& error) {
  std::fprintf(stderr, "chartferry replay: %s\n", error.text().c_str());
  return kUsage;
}

// Of all, for whoever asks who sent what away, and one of each patient, for who asks after them.
std::vector<Look> announced(const replay::ResendPlan& plan, const std::string& behind) {
  const std::string resend = std::string(replay::kResend) + " landings=";
  std::vector<Look> looks;
  looks.push_back({resend + std::to_string(plan.landings) + " patients=" +
                       std::to_string(plan.by_patient.size() - plan.by_patient.count("")) + behind,
                   "", 0, "", ""});
  for (const auto& [patient, landings] : plan.by_patient) {
    if (!patient.empty()) {
      looks.push_back({resend + std::to_string(landings) + behind, "", 0, patient, ""});
    }
  }
  return looks;
}

// Of the patients of whom not all was taken that was announced: what did leave.
std::vector<Look> corrected(const replay::ResendPlan& plan, const replay::ResendReport& report,
                            const std::string& behind) {
  std::vector<Look> looks;
  for (const auto& [patient, landings] : plan.by_patient) {
    const auto found = report.by_patient.find(patient);
    const replay::ResendReport::OfPatient done =
        found != report.by_patient.end() ? found->second : replay::ResendReport::OfPatient();
    if (!patient.empty() && done.taken != landings) {
      looks.push_back(
          {std::string(replay::kResend) + "-ended landings=" + std::to_string(landings) +
               " sent=" + std::to_string(done.sent) + " taken=" + std::to_string(done.taken) +
               (done.partly > 0 ? " partly=" + std::to_string(done.partly) : "") + behind,
           "", 0, patient, ""});
    }
  }
  return looks;
}

}  // namespace

int resend_journal(journal::Store& store, replay::ResendQuery query, const TargetConfig& server,
                   const Reader& reader, bool as_json, const replay::OnProgress& progress) {
  const auto url = delivery::parse_base_url(server.url);
  auto peer = TargetPeer::open_fitting(server);
  if (!url || !peer) {
    return fail(!url ? url.error() : peer.error());
  }
  if (auto known = check_target(store, query.target); !known) {
    return fail(known.error());
  }
  const auto plan = replay::plan_resend(store, query);
  if (!plan) {
    return fail(plan.error());
  }
  const std::string behind = " of=" + query.target +
                             " server=" + (url->tls ? "https://" : "http://") + url->authority() +
                             url->path;
  if (auto noted = note_looks(store, reader, announced(*plan, behind)); !noted) {
    return fail(noted.error());
  }
  replay::ResendReport none;
  none.last = query.range.after;
  query.through = plan->last;
  const replay::ResendReport report =
      plan->landings == 0
          ? none
          : replay::resend(store, query,
                           {[&peer](std::string bundle, bool in_pieces) {
                              return (*peer)->post(std::move(bundle), in_pieces);
                            },
                            [&peer](delivery::Consignment consignment) {
                              return (*peer)->exchange(std::move(consignment));
                            },
                            [&peer](const std::string& path) { return (*peer)->get(path); }},
                           progress);
  if (as_json) {
    print_json(*plan, report);
  } else {
    print_text(query.target, *plan, report);
  }
  if (auto noted = note_looks(store, reader, corrected(*plan, report, behind)); !noted) {
    return fail(noted.error());
  }
  if (report.failure) {
    fail(*report.failure);
    return report.stopped_at != 0 ? kNo : kUsage;
  }
  return report.complete() ? kOk : kNo;
}

}  // namespace engine::cli
