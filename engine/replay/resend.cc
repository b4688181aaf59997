#include "engine/replay/resend.h"

#include <algorithm>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/delivery/exchange.h"
#include "engine/delivery/landing.h"
#include "engine/delivery/pieces.h"
#include "engine/delivery/verdict.h"
#include "engine/json/document.h"

namespace engine::replay {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

// What landed with a record, and what the other landed revisions of its session sent.
struct Landed {
  std::string bundle;
  bool correction = false;           // it may change what is there
  std::vector<std::string> earlier;  // newest first; also what may have landed
  std::vector<std::string> later;
};

// Whether an entry says more than "create it unless something with its identifier is there". Also a
// first revision does, when it was translated again after it may have landed. A Provenance has an
// id of its own revision and nothing that it could change.
bool may_change(std::string_view bundle) {
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(bundle).has_value()) {
    return true;
  }
  const json::Node* list = document.root()->find("entry");
  for (const json::Node* entry = list != nullptr ? list->first : nullptr; entry != nullptr;
       entry = entry->next) {
    const json::Node* resource = entry->find("resource");
    const json::Node* request = entry->find("request");
    const bool creates = request != nullptr && request->string_at("method") == "POST" &&
                         !request->string_at("ifNoneExist").empty();
    if (!creates && (resource == nullptr || resource->string_at("resourceType") != "Provenance")) {
      return true;
    }
  }
  return false;
}

Result<Landed> landed_with(const journal::Store& store, const journal::Record& landed) {
  const auto legs = store.legs(landed.session);
  if (!legs) {
    return legs.error();
  }
  Landed out;
  bool found = false;
  for (const journal::Leg& leg : *legs) {  // by revision
    const bool this_one = leg.revision == landed.revision;
    if (leg.target != landed.target || leg.bundle == 0 ||
        (!this_one && leg.state != journal::LegState::kLanded && !journal::is_doubtful(leg))) {
      continue;
    }
    auto bundle = store.part(leg.bundle, "bundle");
    if (!bundle && (this_one || bundle.error().code != ErrorCode::kNotFound)) {
      return std::move(bundle).error();
    }
    found = found || this_one;
    out.correction = out.correction || leg.revision < landed.revision;
    if (this_one) {
      out.correction = out.correction || may_change(*bundle);
      out.bundle = std::move(*bundle);
    } else if (bundle && leg.revision < landed.revision) {
      out.earlier.insert(out.earlier.begin(), std::move(*bundle));
    } else if (bundle) {
      out.later.push_back(std::move(*bundle));
    }
  }
  return found ? Result<Landed>(std::move(out))
               : Error(ErrorCode::kCorrupt, "no bundle belongs to the landing",
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
  explicit Sender(const ResendWay& way) : way_(way) {}

  Fared send(Landed landed) {
    return landed.correction ? send_correction(std::move(landed))
                             : send_first(std::move(landed.bundle));
  }

 private:
  // It only creates, and never where something is.
  Fared send_first(std::string bundle) {
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

  Fared send_correction(Landed landed) {
    Fared fared;
    for (const bool in_pieces : {false, true}) {
      delivery::Consignment consignment;
      consignment.bundle = landed.bundle;
      consignment.given_up = landed.earlier;
      consignment.later = landed.later;
      consignment.request_id = "chartferry";
      consignment.uncertain = true;
      consignment.doubtful_past = true;
      consignment.in_pieces = in_pieces;
      consignment.refused = refused_;
      delivery::Conclusion came = way_.exchange(std::move(consignment));
      fared.left = fared.left || came.left;
      fared.partly = fared.partly || came.partly;
      fared.verdict = std::move(came.verdict);
      if (fared.verdict.action == delivery::Verdict::Action::kLanded && left_something(came)) {
        fared.verdict = delivery::Verdict(delivery::Verdict::Action::kHold, delivery::kNotReadable);
      }
      if (came.refused) {
        refused_.note(*came.refused);
      }
      if (fared.verdict.action != delivery::Verdict::Action::kInPieces) {
        break;
      }
    }
    return fared;
  }

  // Where nobody could see what is there, a create does not write over it.
  static bool left_something(const delivery::Conclusion& came) {
    return std::any_of(came.parts.begin(), came.parts.end(), [](const journal::Part& part) {
      const auto landing = part.name == "landing" ? delivery::parse_landing(part.bytes)
                                                  : Result<delivery::Landing>(delivery::Landing());
      return !landing || std::any_of(landing->begin(), landing->end(),
                                     [](const delivery::LandedEntry& row) { return row.unproven; });
    });
  }

  void once(std::string bundle, std::size_t entries, bool in_pieces, Fared& fared) const {
    delivery::Reply reply = way_.post(std::move(bundle), in_pieces);
    fared.verdict = delivery::judge(reply, entries, true, 0);
    fared.about = std::move(reply.about);
    fared.partly = fared.partly || reply.partly;
    fared.left = fared.left || fared.partly || reply.fate != delivery::Reply::Fate::kNotSent;
  }

  const ResendWay& way_;
  delivery::SizeRefusals refused_;
};

}  // namespace

Result<ResendPlan> plan_resend(const journal::Store& store, const ResendQuery& query) {
  ResendPlan plan;
  plan.last = query.range.after;
  const auto done = each_landing(store, query, [&](const journal::Record& record) {
    plan.last = record.position;
    if (record.kind != journal::Kind::kUnreadable && record.reason != delivery::kNothingToSend) {
      ++plan.landings;
      ++plan.by_patient[record.patient];
    }
    return Result<bool>(true);
  });
  return done ? Result<ResendPlan>(std::move(plan)) : done.error();
}

Result<ResendReport> resend(const journal::Store& store, const ResendQuery& query,
                            const ResendWay& way, const OnProgress& on_progress) {
  ResendReport report;
  Sender sender(way);
  report.last = query.range.after;
  const auto done = each_landing(store, query, [&](const journal::Record& record) -> Result<bool> {
    if (record.kind == journal::Kind::kUnreadable) {
      ++report.unreadable;
      return true;
    }
    if (record.reason == delivery::kNothingToSend) {
      report.last = record.position;
      return true;
    }
    auto landed = landed_with(store, record);
    if (!landed && landed.error().code == ErrorCode::kNotFound) {
      ++report.destroyed;
      return true;
    }
    if (!landed) {
      return std::move(landed).error();
    }
    Fared fared = sender.send(std::move(*landed));
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
    report.broken_off = on_progress && record.position != query.through &&
                        !on_progress({report.sent, record.position});
    return !report.broken_off;
  });
  return done ? Result<ResendReport>(std::move(report)) : done.error();
}

}  // namespace engine::replay
