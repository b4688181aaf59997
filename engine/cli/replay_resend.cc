#include "engine/cli/replay_resend.h"

#include <cstdio>
#include <string>
#include <utility>

#include "engine/cli/commands.h"
#include "engine/cli/target_peer.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

void print_json(const replay::ResendReport& report) {
  std::string out = "{\"sent\":" + std::to_string(report.sent) +
                    ",\"destroyed\":" + std::to_string(report.destroyed) +
                    ",\"last\":" + std::to_string(report.last) +
                    ",\"complete\":" + (report.complete() ? "true" : "false");
  if (!report.complete()) {
    out += ",\"stoppedAt\":" + std::to_string(report.stopped_at) + ",\"session\":";
    json::write_string(report.session, out);
    out += ",\"revision\":" + std::to_string(report.revision) + ",\"reason\":";
    json::write_string(report.reason, out);
  }
  std::printf("%s}\n", out.c_str());
}

void print_text(const replay::ResendReport& report) {
  std::printf("%llu landings sent again\n", static_cast<unsigned long long>(report.sent));
  if (report.destroyed > 0) {
    std::printf("%llu were destroyed in the journal and are left out\n",
                static_cast<unsigned long long>(report.destroyed));
  }
  if (!report.complete()) {
    std::printf("STOPPED at record %llu, session %s/%u: %s; go on with --after %llu\n",
                static_cast<unsigned long long>(report.stopped_at), report.session.c_str(),
                report.revision, report.reason.c_str(),
                static_cast<unsigned long long>(report.last));
  }
}

}  // namespace

int resend_journal(const journal::Store& store, const replay::ResendQuery& query,
                   const TargetConfig& server, bool as_json, const replay::OnProgress& progress) {
  auto peer = TargetPeer::open(server);
  if (!peer) {
    std::fprintf(stderr, "chartferry replay: %s\n", peer.error().text().c_str());
    return kUsage;
  }
  const auto report = replay::resend(
      store, query, [&peer](std::string bundle) { return (*peer)->post(std::move(bundle)); },
      progress);
  if (!report) {
    std::fprintf(stderr, "chartferry replay: %s\n", report.error().text().c_str());
    return kUsage;
  }
  as_json ? print_json(*report) : print_text(*report);
  return report->complete() ? kOk : kNo;
}

}  // namespace engine::cli
