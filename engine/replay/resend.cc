#include "engine/replay/resend.h"

#include <utility>

#include "engine/base/limits.h"
#include "engine/delivery/pieces.h"
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

journal::Query search_of(const ResendQuery& query) {
  journal::Query search;
  search.target = query.target;
  search.since = query.range.since;
  search.until = query.range.until;
  search.kind = journal::Kind::kLanded;
  search.after = query.range.after;
  search.limit = base::limits::kEventsCatchUpMax;
  return search;
}

// Each landing of the query in its order, until `visit` (base::Result<bool>) says false or fails.
template <class Visit>
Result<void> each_landing(const journal::Store& store, const ResendQuery& query,
                          const Visit& visit) {
  journal::Query search = search_of(query);
  while (true) {
    const auto records = store.search(search);
    if (!records) {
      return records.error();
    }
    for (const journal::Record& record : *records) {
      if (query.through != 0 && record.position > query.through) {
        return {};
      }
      const Result<bool> go_on = visit(record);
      if (!go_on || !*go_on) {
        return go_on ? Result<void>() : go_on.error();
      }
      search.after = record.position;
    }
    if (records->size() < search.limit) {
      return {};
    }
  }
}

// How one bundle fared.
struct Fared {
  delivery::Verdict verdict;
  std::string about;
  bool left = false;    // for the server, taken or not
  bool partly = false;  // some of it is there
};

// As the courier sends: what is refused for its size goes one resource at a time, and what is
// surely no smaller does so at once.
class Sender {
 public:
  explicit Sender(const PostBundle& post) : post_(post) {}

  Fared send(std::string bundle) {
    const std::size_t entries = delivery::count_entries(bundle);
    const delivery::BundleSize size{bundle.size(), entries};
    Fared fared;
    if (!refused_.covers(size)) {
      once(bundle, entries, false, fared);
      if (fared.verdict.reason != delivery::kTooLarge || !fared.about.empty()) {
        return fared;
      }
      refused_.note(size);
    }
    once(std::move(bundle), entries, true, fared);
    return fared;
  }

 private:
  void once(std::string bundle, std::size_t entries, bool in_pieces, Fared& fared) const {
    delivery::Reply reply = post_(std::move(bundle), in_pieces);
    fared.verdict = delivery::judge(reply, entries, true, 0);
    fared.about = std::move(reply.about);
    fared.partly = fared.partly || reply.partly;
    fared.left = fared.left || fared.partly || reply.fate != delivery::Reply::Fate::kNotSent;
  }

  const PostBundle& post_;
  delivery::SizeRefusals refused_;
};

}  // namespace

Result<ResendPlan> plan_resend(const journal::Store& store, const ResendQuery& query) {
  ResendPlan plan;
  plan.last = query.range.after;
  const auto done = each_landing(store, query, [&](const journal::Record& record) {
    plan.last = record.position;
    if (record.kind != journal::Kind::kUnreadable) {
      ++plan.landings;
      ++plan.by_patient[record.patient];
    }
    return Result<bool>(true);
  });
  return done ? Result<ResendPlan>(std::move(plan)) : done.error();
}

Result<ResendReport> resend(const journal::Store& store, const ResendQuery& query,
                            const PostBundle& post, const OnProgress& on_progress) {
  ResendReport report;
  Sender sender(post);
  report.last = query.range.after;
  const auto done = each_landing(store, query, [&](const journal::Record& record) -> Result<bool> {
    if (record.kind == journal::Kind::kUnreadable) {
      ++report.unreadable;
      return true;
    }
    auto bundle = bundle_of(store, record);
    if (!bundle && bundle.error().code == ErrorCode::kNotFound) {
      ++report.destroyed;
      return true;
    }
    if (!bundle) {
      return std::move(bundle).error();
    }
    Fared fared = sender.send(std::move(*bundle));
    ResendReport::OfPatient& patient = report.by_patient[record.patient];
    patient.sent += fared.left ? 1U : 0U;
    if (fared.verdict.action != delivery::Verdict::Action::kLanded) {
      patient.partly += fared.partly ? 1U : 0U;
      report.stopped_at = record.position;
      report.session = record.session;
      report.revision = record.revision;
      report.reason = std::move(fared.verdict.reason);
      report.partly = fared.partly;
      report.about = std::move(fared.about);
      return false;
    }
    ++report.sent;
    ++patient.taken;
    report.last = record.position;
    if (on_progress) {
      on_progress({report.sent, record.position});
    }
    return true;
  });
  return done ? Result<ResendReport>(std::move(report)) : done.error();
}

}  // namespace engine::replay
