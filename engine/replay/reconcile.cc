#include "engine/replay/reconcile.h"

#include <algorithm>
#include <map>
#include <utility>

#include "engine/base/limits.h"
#include "engine/json/document.h"

namespace engine::replay {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using delivery::Reply;

struct Landed {
  std::string etag;
  journal::Position position = 0;
  std::string session;
  std::uint32_t revision = 0;
};
using Resources = std::map<std::string, Landed>;

// A later landing of a resource stands for it.
Result<void> read_landing(const journal::Store& store, const journal::Record& record,
                          Resources& resources, ReconcileReport& report) {
  const auto text = store.part(record.position, "landing");
  if (!text) {
    return text.error();
  }
  json::NameTable names;
  json::Document document(names);
  if (!document.parse(*text) || !document.root()->is_array()) {
    return Error(ErrorCode::kCorrupt, "its landing is no list",
                 "record " + std::to_string(record.position));
  }
  for (const json::Node& entry : *document.root()) {
    const std::string resource = resource_of(entry.string_at("location"));
    if (resource.empty()) {
      ++report.unnamed;
    } else {
      resources[resource] = {std::string(entry.string_at("etag")), record.position, record.session,
                             record.revision};
    }
  }
  return {};
}

Result<Resources> landed_resources(const journal::Store& store, const ReconcileQuery& query,
                                   ReconcileReport& report) {
  journal::Query search;
  search.target = query.target;
  search.since = query.since;
  search.until = query.until;
  search.kind = journal::Kind::kLanded;
  search.limit = base::limits::kEventsCatchUpMax;
  Resources resources;
  while (true) {
    const auto records = store.search(search);
    if (!records) {
      return records.error();
    }
    for (const journal::Record& record : *records) {
      if (auto read = read_landing(store, record, resources, report); !read) {
        return read.error();
      }
      search.after = record.position;
    }
    if (records->size() < search.limit) {
      return resources;
    }
  }
}

bool is_id_character(char c) {
  return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' ||
         c == '.';
}

}  // namespace

std::string resource_of(std::string_view location) {
  location = location.substr(0, location.find("/_history/"));
  const std::size_t slash = location.rfind('/');
  if (slash == std::string_view::npos) {
    return {};
  }
  const std::string_view id = location.substr(slash + 1);
  const std::string_view before = location.substr(0, slash);
  const std::size_t start = before.rfind('/');
  const std::string_view type = start == std::string_view::npos ? before : before.substr(start + 1);
  const bool type_good = !type.empty() && std::all_of(type.begin(), type.end(), [](char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
  });
  // FHIR id: at most 64 letters, digits, '-' and '.' (R4 datatypes).
  const bool id_good = !id.empty() && id.size() <= 64 &&
                       std::all_of(id.begin(), id.end(), is_id_character) && id != "." &&
                       id != "..";
  return type_good && id_good ? std::string(type) + "/" + std::string(id) : std::string();
}

Result<ReconcileReport> reconcile(const journal::Store& store, const ReconcileQuery& query,
                                  const std::function<Reply(const std::string& path)>& get) {
  ReconcileReport report;
  const auto resources = landed_resources(store, query, report);
  if (!resources) {
    return resources.error();
  }
  for (const auto& [resource, landed] : *resources) {
    const Reply reply = get("/" + resource);
    if (reply.fate != Reply::Fate::kAnswered) {
      return Error(ErrorCode::kPeer, "the record server does not answer: " + reply.failure);
    }
    if (reply.status == 401 || reply.status == 403) {
      return Error(ErrorCode::kPeer,
                   "the record server does not let us read: HTTP " + std::to_string(reply.status));
    }
    ++report.resources;
    const std::string etag(reply.header("etag"));
    const bool there = reply.status == 200;
    if (there && !etag.empty() && etag == landed.etag) {
      ++report.same;
      continue;
    }
    ++report.drifted;
    if (report.drifts.size() < base::limits::kIssuesMax) {
      const bool gone = reply.status == 404 || reply.status == 410;
      const bool told = there && !etag.empty() && !landed.etag.empty();
      report.drifts.push_back({gone   ? Drift::Kind::kGone
                               : told ? Drift::Kind::kChanged
                                      : Drift::Kind::kUnknown,
                               resource, landed.etag,
                               told ? etag : "HTTP " + std::to_string(reply.status),
                               landed.position, landed.session, landed.revision});
    }
  }
  return report;
}

}  // namespace engine::replay
