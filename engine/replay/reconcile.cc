#include "engine/replay/reconcile.h"

#include <algorithm>
#include <map>
#include <utility>

#include "engine/base/limits.h"
#include "engine/delivery/landing.h"
#include "engine/delivery/location.h"

namespace engine::replay {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using delivery::Reply;

struct Landed {
  std::string etag;  // empty too when what landed was not seen to be as it was sent
  journal::Position position = 0;
  std::string session;
  std::uint32_t revision = 0;
};
using Resources = std::map<std::string, Landed>;

// A later landing of a resource stands for it.
Result<void> read_landing(const journal::Store& store, const journal::Record& record,
                          Resources& resources, ReconcileReport& report) {
  const auto text = store.part(record.position, "landing");
  if (!text && text.error().code == ErrorCode::kNotFound) {
    ++report.destroyed;
    return {};
  }
  if (!text) {
    return text.error();
  }
  const auto landing = delivery::parse_landing(*text);
  if (!landing) {
    return Error(ErrorCode::kCorrupt, "its landing is no list",
                 "record " + std::to_string(record.position));
  }
  for (const delivery::LandedEntry& entry : *landing) {
    const std::string resource = delivery::resource_of(entry.location);
    if (resource.empty()) {
      ++report.unnamed;
    } else {
      resources[resource] = {entry.unproven ? std::string() : entry.etag, record.position,
                             record.session, record.revision};
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
      if (record.kind == journal::Kind::kUnreadable) {
        ++report.unreadable;
        search.after = record.position;
        continue;
      }
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

}  // namespace

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
