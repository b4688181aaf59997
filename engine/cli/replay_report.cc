#include "engine/cli/replay_report.h"

#include "engine/cli/verify_sets.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

std::string json_text(std::string_view text) {
  std::string out;
  json::write_string(text, out);
  return out;
}

}  // namespace

base::Result<std::string> replay_report(const journal::Store& store,
                                        const intake::SessionCore& core, const std::string& folder,
                                        const replay::Range& range) {
  KeptVerify wish;
  wish.folder = folder;
  wish.range = range;
  const auto report = verify_with_kept_sets(store, core, wish);
  if (!report) {
    return report.error();
  }
  std::string out = "{\"translations\":" + std::to_string(report->translations) +
                    ",\"same\":" + std::to_string(report->same) +
                    ",\"destroyed\":" + std::to_string(report->destroyed) + ",\"otherSets\":{";
  for (const auto& [what, count] : report->other_sets) {
    out += (out.back() == '{' ? "" : ",") + json_text(what) + ":" + std::to_string(count);
  }
  out += "},\"faults\":[";
  for (const replay::Fault& fault : report->faults) {
    out += (out.back() == '[' ? "" : ",") + std::string("{\"position\":") +
           std::to_string(fault.position) + ",\"session\":" + json_text(fault.session) +
           ",\"revision\":" + std::to_string(fault.revision) +
           ",\"target\":" + json_text(fault.target) + ",\"what\":" + json_text(fault.what) + "}";
  }
  return out + "]}";
}

}  // namespace engine::cli
