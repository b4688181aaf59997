#include "engine/cli/journal_reconcile.h"

#include <cstdio>

#include "engine/cli/commands.h"
#include "engine/cli/target_peer.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

const char* word_of(replay::Drift::Kind kind) {
  return kind == replay::Drift::Kind::kGone      ? "gone"
         : kind == replay::Drift::Kind::kChanged ? "changed"
                                                 : "unknown";
}

void print_json(const replay::ReconcileReport& report) {
  std::string out = "{\"resources\":" + std::to_string(report.resources) +
                    ",\"same\":" + std::to_string(report.same) +
                    ",\"unnamed\":" + std::to_string(report.unnamed) +
                    ",\"unreadable\":" + std::to_string(report.unreadable) +
                    ",\"destroyed\":" + std::to_string(report.destroyed) +
                    ",\"drifted\":" + std::to_string(report.drifted) + ",\"drifts\":[";
  bool first = true;
  for (const replay::Drift& drift : report.drifts) {
    out += first ? "{\"kind\":\"" : ",{\"kind\":\"";
    first = false;
    out += std::string(word_of(drift.kind)) + "\",\"resource\":";
    json::write_string(drift.resource, out);
    out += ",\"landed\":";
    json::write_string(drift.landed, out);
    out += ",\"found\":";
    json::write_string(drift.found, out);
    out += ",\"session\":";
    json::write_string(drift.session, out);
    out += ",\"revision\":" + std::to_string(drift.revision) +
           ",\"position\":" + std::to_string(drift.position) + "}";
  }
  std::printf("%s]}\n", out.c_str());
}

void print_text(const replay::ReconcileReport& report) {
  for (const replay::Drift& drift : report.drifts) {
    std::printf("%-7s %s landed %s, found %s; session %s/%u, record %llu\n", word_of(drift.kind),
                drift.resource.c_str(), drift.landed.empty() ? "-" : drift.landed.c_str(),
                drift.found.c_str(), drift.session.c_str(), drift.revision,
                static_cast<unsigned long long>(drift.position));
  }
  if (report.drifted > report.drifts.size()) {
    std::printf("... and %llu more\n",
                static_cast<unsigned long long>(report.drifted - report.drifts.size()));
  }
  if (report.unnamed > 0) {
    std::printf("%llu landed without a location that names a resource: not asked for\n",
                static_cast<unsigned long long>(report.unnamed));
  }
  if (report.unreadable > 0) {
    std::printf("%llu landings cannot be read in the journal: not asked for; see journal verify\n",
                static_cast<unsigned long long>(report.unreadable));
  }
  if (report.destroyed > 0) {
    std::printf("%llu landings were destroyed in the journal: not asked for\n",
                static_cast<unsigned long long>(report.destroyed));
  }
  std::printf("%s: %llu resources, %llu as they landed, %llu not\n",
              report.drifted == 0 ? "unchanged" : "DRIFT",
              static_cast<unsigned long long>(report.resources),
              static_cast<unsigned long long>(report.same),
              static_cast<unsigned long long>(report.drifted));
}

}  // namespace

int reconcile_journal(const journal::Store& store, const replay::ReconcileQuery& query,
                      const TargetConfig& target, bool as_json) {
  auto peer = TargetPeer::open(target);
  if (!peer) {
    std::fprintf(stderr, "chartferry journal: %s\n", peer.error().text().c_str());
    return kUsage;
  }
  const auto report = replay::reconcile(
      store, query, [&peer](const std::string& path) { return (*peer)->get(path); });
  if (!report) {
    std::fprintf(stderr, "chartferry journal: %s\n", report.error().text().c_str());
    return kUsage;
  }
  if (as_json) {
    print_json(*report);
  } else {
    print_text(*report);
  }
  return report->drifted == 0 ? kOk : kNo;
}

}  // namespace engine::cli
