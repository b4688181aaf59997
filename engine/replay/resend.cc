#include "engine/replay/resend.h"

#include <utility>

#include "engine/base/limits.h"
#include "engine/delivery/verdict.h"

namespace engine::replay {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

// The bundle that landed with a record.
Result<std::string> bundle_of(const journal::Store& store, const journal::Record& landed) {
  const auto legs = store.legs(landed.session);
  if (!legs) {
    return legs.error();
  }
  for (const journal::Leg& leg : *legs) {
    if (leg.revision == landed.revision && leg.target == landed.target && leg.bundle != 0) {
      return store.part(leg.bundle, "bundle");
    }
  }
  return Error(ErrorCode::kCorrupt, "no bundle belongs to the landing",
               "record " + std::to_string(landed.position));
}

}  // namespace

Result<ResendReport> resend(const journal::Store& store, const ResendQuery& query,
                            const std::function<delivery::Reply(std::string bundle)>& post,
                            const OnProgress& on_progress) {
  journal::Query search;
  search.target = query.target;
  search.since = query.range.since;
  search.until = query.range.until;
  search.kind = journal::Kind::kLanded;
  search.after = query.after;
  search.limit = base::limits::kEventsCatchUpMax;
  ResendReport report;
  report.last = query.after;
  while (true) {
    const auto records = store.search(search);
    if (!records) {
      return records.error();
    }
    for (const journal::Record& record : *records) {
      auto bundle = bundle_of(store, record);
      if (!bundle && bundle.error().code == ErrorCode::kNotFound) {
        ++report.destroyed;
        search.after = record.position;
        continue;
      }
      if (!bundle) {
        return std::move(bundle).error();
      }
      const std::size_t entries = delivery::count_entries(*bundle);
      const delivery::Verdict verdict = delivery::judge(post(std::move(*bundle)), entries, true, 0);
      if (verdict.action != delivery::Verdict::Action::kLanded) {
        report.stopped_at = record.position;
        report.session = record.session;
        report.revision = record.revision;
        report.reason = verdict.reason;
        return report;
      }
      ++report.sent;
      report.last = search.after = record.position;
      if (on_progress) {
        on_progress({report.sent, record.position});
      }
    }
    if (records->size() < search.limit) {
      return report;
    }
  }
}

}  // namespace engine::replay
