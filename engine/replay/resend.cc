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

// Where the bundle puts its Provenance, which has an id of ours and no condition; "" where it has
// none.
std::string provenance_of(std::string_view bundle) {
  static const json::NameTable names;
  json::Document document(names);
  const json::Node* list =
      document.parse(bundle).has_value() ? document.root()->find("entry") : nullptr;
  for (const json::Node* entry = list != nullptr ? list->first : nullptr; entry != nullptr;
       entry = entry->next) {
    const json::Node* request = entry->find("request");
    if (request != nullptr && request->string_at("method") == "PUT" &&
        request->string_at("url").starts_with("Provenance/")) {
      return std::string(request->string_at("url"));
    }
  }
  return {};
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
  bool made = false;    // some of it was not there before
  bool was_there = false;
};

// Of an entry of the answer.
constexpr int kCreated = 201;
constexpr int kThere = 200;

// As the courier sends: what is refused for its size goes one resource at a time, and what is
// surely no smaller does so at once.
class Sender {
 public:
  explicit Sender(const ResendWay& way) : way_(way) {}

  Fared send(Landed landed) {
    return landed.correction || was_there(landed.bundle) ? send_correction(std::move(landed))
                                                         : send_first(std::move(landed.bundle));
  }

 private:
  // It was sent there before, and somebody may have changed since what would be written over.
  bool was_there(const std::string& bundle) const {
    constexpr int kFound = 200;
    constexpr int kDeleted = 410;
    const std::string place = provenance_of(bundle);
    const delivery::Reply reply = place.empty() ? delivery::Reply() : way_.get("/" + place);
    return !place.empty() && reply.fate == delivery::Reply::Fate::kAnswered &&
           (reply.status == kFound || reply.status == kDeleted);
  }

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
      fared.made = fared.left;  // what it finds as it should be is not sent
      fared.was_there = !fared.left || !landed.correction;  // its Provenance was
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
    for (const delivery::LandedEntry& row : fared.verdict.landing) {
      fared.made = fared.made || row.status == kCreated;
      fared.was_there = fared.was_there || row.status == kThere;
    }
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
  const auto keys = store.body_keys();
  if (!keys) {
    return keys.error();
  }
  if (!keys->empty() && store.sealing() == nullptr) {
    return Error(ErrorCode::kUnsupported, "bodies are sealed; give the master key");
  }
  const auto done = each_landing(store, query, [&](const journal::Record& record) {
    plan.last = record.position;
    if (record.kind != journal::Kind::kUnreadable && record.reason != delivery::kNothingToSend) {
      ++plan.landings;
      ++plan.by_patient[record.patient];
    }
    return Result<bool>(true);
  });
  const auto counts = done ? store.open_counts() : done.error();
  if (!counts) {
    return counts.error();
  }
  for (const journal::Store::Count& count : *counts) {
    if (count.target == query.target) {
      (count.state == journal::LegState::kHeld ? plan.held : plan.waiting) += count.legs;
    }
  }
  return plan;
}

namespace {

// Goes through the landings.
class Resend {
 public:
  Resend(const journal::Store& store, const ResendQuery& query, const ResendWay& way,
         const OnProgress& on_progress)
      : store_(store), query_(query), on_progress_(on_progress), sender_(way) {
    report_.last = query.range.after;
  }

  ResendReport run() {
    const auto done = each_landing(store_, query_, [this](const journal::Record& record) {
      return Result<bool>(send(record));
    });
    if (!done) {
      report_.failure = done.error();
    }
    return std::move(report_);
  }

 private:
  bool send(const journal::Record& record) {
    if (record.kind == journal::Kind::kUnreadable) {
      ++report_.unreadable;
      return true;
    }
    if (record.reason == delivery::kNothingToSend) {
      report_.last = record.position;
      return true;
    }
    auto landed = landed_with(store_, record);
    if (!landed && landed.error().code == ErrorCode::kNotFound) {
      ++report_.destroyed;
      name(record, report_.destroyed_named);
      return true;
    }
    if (!landed) {
      const bool away = landed.error().code == ErrorCode::kIo;
      stop(record, away ? "bundle-not-read" : "bundle-unreadable");
      report_.failure = std::move(landed).error();
      return false;
    }
    Fared fared = sender_.send(std::move(*landed));
    ResendReport::OfPatient& patient = report_.by_patient[record.patient];
    patient.sent += fared.left ? 1U : 0U;
    if (fared.verdict.action != delivery::Verdict::Action::kLanded) {
      patient.partly += fared.partly ? 1U : 0U;
      stop(record, std::move(fared.verdict.reason));
      report_.partly = fared.partly;
      report_.about = std::move(fared.about);
      return false;
    }
    ++patient.taken;
    return took(record, fared);
  }

  bool took(const journal::Record& record, const Fared& fared) {
    ++report_.sent;
    report_.there += fared.was_there && !fared.made ? 1U : 0U;
    if (fared.was_there && fared.made) {
      ++report_.in_part;
      name(record, report_.in_part_named);
    }
    report_.last = record.position;
    report_.broken_off = on_progress_ && record.position != query_.through &&
                         !on_progress_({report_.sent, record.position});
    return !report_.broken_off;
  }

  void stop(const journal::Record& record, std::string reason) {
    report_.stopped_at = record.position;
    report_.session = record.session;
    report_.revision = record.revision;
    report_.reason = std::move(reason);
  }

  static void name(const journal::Record& record, std::vector<ResendReport::Named>& named) {
    if (named.size() < base::limits::kIssuesMax) {
      named.push_back({record.position, record.session, record.revision});
    }
  }

  const journal::Store& store_;
  const ResendQuery& query_;
  const OnProgress& on_progress_;
  Sender sender_;
  ResendReport report_;
};

}  // namespace

ResendReport resend(const journal::Store& store, const ResendQuery& query, const ResendWay& way,
                    const OnProgress& on_progress) {
  return Resend(store, query, way, on_progress).run();
}

}  // namespace engine::replay
