#include "engine/cli/journal_reconcile.h"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <thread>

#include "engine/cli/commands.h"
#include "engine/cli/target_peer.h"
#include "engine/delivery/verdict.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

const char* word_of(replay::Drift::Kind kind) {
  return kind == replay::Drift::Kind::kGone      ? "gone"
         : kind == replay::Drift::Kind::kChanged ? "changed"
         : kind == replay::Drift::Kind::kOther   ? "other"
                                                 : "unknown";
}

void print_json(const replay::ReconcileReport& report) {
  std::string out = "{\"resources\":" + std::to_string(report.resources) +
                    ",\"same\":" + std::to_string(report.same) +
                    ",\"moved\":" + std::to_string(report.moved) +
                    ",\"underWay\":" + std::to_string(report.under_way) +
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
  if (report.moved > 0) {
    std::printf("%llu were found by their identifiers, under other ids\n",
                static_cast<unsigned long long>(report.moved));
  }
  if (report.under_way > 0) {
    std::printf("%llu belong to sessions of which a revision is on its way: not compared\n",
                static_cast<unsigned long long>(report.under_way));
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

namespace {

constexpr int kTries = 4;
constexpr std::chrono::milliseconds kLongestWait{30'000};

// A server that is busy is asked again: that it is says nothing of the resource.
delivery::Reply ask_patiently(TargetPeer& peer, const delivery::Call& call) {
  for (int tries = 1;; ++tries) {
    delivery::Reply reply = peer.call(call);
    const bool busy =
        reply.status == 408 || reply.status == 425 || reply.status == 429 || reply.status >= 500;
    if (reply.fate != delivery::Reply::Fate::kAnswered || !busy || tries == kTries) {
      return reply;
    }
    const std::chrono::milliseconds usual(250 * tries);
    std::this_thread::sleep_for(std::clamp(delivery::retry_after(reply, 0), usual, kLongestWait));
  }
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
      store, query, [&peer](const delivery::Call& call) { return ask_patiently(**peer, call); });
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
