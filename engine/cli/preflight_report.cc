#include "engine/cli/preflight_report.h"

#include <utility>

#include "engine/cli/target_peer.h"
#include "engine/delivery/http_peer.h"
#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using delivery::Ability;
using delivery::Reply;

// Nobody's identifier: the search finds nothing and shows whether searching is allowed.
constexpr const char* kSearch =
    "/Observation?identifier=https%3A%2F%2Fchartferry.example%2Ffhir%2Fpreflight%7Cnone&_count=1";

}  // namespace

Result<std::vector<Ability>> ask_abilities(const TargetConfig& target) {
  auto peer = TargetPeer::open(target);
  if (!peer) {
    return std::move(peer).error();
  }
  const Reply metadata = (*peer)->get("/metadata");
  if (metadata.fate != Reply::Fate::kAnswered) {
    return Error(ErrorCode::kPeer, "no answer: " + metadata.failure, target.url);
  }
  if (metadata.status != 200) {
    return Error(ErrorCode::kPeer,
                 "/metadata gives HTTP " + std::to_string(metadata.status) +
                     "; a FHIR server answers it with 200: is the base URL right?",
                 target.url);
  }
  json::NameTable names;
  json::Document document(names);
  const auto parsed = document.parse(metadata.body);
  if (metadata.body_cut || !parsed ||
      document.root()->string_at("resourceType") != "CapabilityStatement") {
    return Error(ErrorCode::kPeer, "/metadata gives no CapabilityStatement in JSON", target.url);
  }
  std::vector<Ability> rows = delivery::judge_capabilities(*document.root());
  const auto url = delivery::parse_base_url(target.url);
  rows.insert(rows.begin(), delivery::judge_transport(*url));
  const Reply search = (*peer)->get(kSearch);
  rows.push_back(delivery::judge_search(search.fate == Reply::Fate::kAnswered ? search.status : 0));
  return rows;
}

const char* word_of(Ability::Grade grade) {
  return grade == Ability::Grade::kThere    ? "there"
         : grade == Ability::Grade::kAbsent ? "absent"
                                            : "needed";
}

std::size_t needed_of(const std::vector<Ability>& rows) {
  std::size_t count = 0;
  for (const Ability& row : rows) {
    count += row.grade == Ability::Grade::kNeeded ? 1U : 0U;
  }
  return count;
}

std::string report_of(const std::string& name, const std::vector<Ability>& rows) {
  std::string out = "{\"target\":";
  json::write_string(name, out);
  out +=
      std::string(",\"ready\":") + (needed_of(rows) == 0 ? "true" : "false") + ",\"abilities\":[";
  bool first = true;
  for (const Ability& row : rows) {
    out += first ? "{\"name\":" : ",{\"name\":";
    first = false;
    json::write_string(row.name, out);
    out += std::string(",\"grade\":\"") + word_of(row.grade) + "\",\"found\":";
    json::write_string(row.found, out);
    if (!row.consequence.empty()) {
      out += ",\"consequence\":";
      json::write_string(row.consequence, out);
    }
    out += "}";
  }
  return out + "]}";
}

}  // namespace engine::cli
