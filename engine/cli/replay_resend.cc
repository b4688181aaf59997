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

void print_json(const replay::ResendReport& report) {
  std::string out = "{\"sent\":" + std::to_string(report.sent) +
                    ",\"destroyed\":" + std::to_string(report.destroyed) +
                    ",\"last\":" + std::to_string(report.last) +
                    ",\"complete\":" + (report.complete() ? "true" : "false");
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

void print_text(const replay::ResendReport& report) {
  std::printf("%llu landings sent again\n", static_cast<unsigned long long>(report.sent));
  if (report.unreadable > 0) {
    std::printf(
        "%llu landings cannot be read in the journal and are left out; see journal verify\n",
        static_cast<unsigned long long>(report.unreadable));
  }
  if (report.destroyed > 0) {
    std::printf("%llu were destroyed in the journal and are left out\n",
                static_cast<unsigned long long>(report.destroyed));
  }
  if (report.broken_off) {
    std::printf("BROKEN OFF behind record %llu; go on with --after %llu\n",
                static_cast<unsigned long long>(report.last),
                static_cast<unsigned long long>(report.last));
  }
  if (report.stopped_at != 0) {
    std::printf("STOPPED at record %llu, session %s/%u: %s%s%s; go on with --after %llu\n",
                static_cast<unsigned long long>(report.stopped_at), report.session.c_str(),
                report.revision, report.reason.c_str(),
                report.about.empty() ? "" : (" (" + report.about + ")").c_str(),
                report.partly ? "; a part of it is there" : "",
                static_cast<unsigned long long>(report.last));
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
  const auto report = plan->landings == 0
                          ? base::Result<replay::ResendReport>(none)
                          : replay::resend(store, query,
                                           {[&peer](std::string bundle, bool in_pieces) {
                                              return (*peer)->post(std::move(bundle), in_pieces);
                                            },
                                            [&peer](delivery::Consignment consignment) {
                                              return (*peer)->exchange(std::move(consignment));
                                            }},
                                           progress);
  if (!report) {
    return fail(report.error());
  }
  as_json ? print_json(*report) : print_text(*report);
  if (auto noted = note_looks(store, reader, corrected(*plan, *report, behind)); !noted) {
    return fail(noted.error());
  }
  return report->complete() ? kOk : kNo;
}

}  // namespace engine::cli
