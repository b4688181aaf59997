#include "engine/web/session_view.h"

#include <algorithm>
#include <set>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/intake/steering.h"
#include "engine/web/server_answer.h"
#include "engine/web/view_text.h"

namespace engine::web {
namespace {

using journal::Leg;
using journal::LegState;

// Without a time when it cannot be read any more: everything else about it is known.
base::Result<journal::Record> record_at(const journal::Store& store, journal::Position position) {
  auto head = store.head(position);
  if (!head) {
    return head.error().code == base::ErrorCode::kCorrupt
               ? base::Result<journal::Record>(journal::Record())
               : std::move(head).error();
  }
  return std::move(head->record);
}

// What is held waits for somebody, whatever came behind it. Otherwise the worst of the latest
// revision: landed only when all targets have it.
const Leg* telling_leg(const std::vector<Leg>& legs) {
  const Leg* out = nullptr;
  const Leg* held = nullptr;
  for (const Leg& leg : legs) {
    const bool later = out == nullptr || leg.revision > out->revision;
    if (later || (out->state == LegState::kLanded && leg.state != LegState::kLanded)) {
      out = &leg;
    }
    if (leg.state == LegState::kHeld && (held == nullptr || leg.revision > held->revision)) {
      held = &leg;
    }
  }
  return held != nullptr ? held : out;
}

// Of a session that meets no record server's condition.
constexpr std::string_view kNoTarget = "no-target";

}  // namespace

base::Result<std::string> session_view(const journal::Store& store, std::string_view session) {
  const auto acceptances = store.acceptances(session);
  const auto legs = store.legs(session);
  if (!acceptances || !legs) {
    return acceptances ? legs.error() : acceptances.error();
  }
  if (acceptances->empty()) {
    return base::Error(base::ErrorCode::kNotFound, "there is no such session");
  }
  std::string out = "{";
  member(out, "session", session);
  const Leg* telling = telling_leg(*legs);
  member(out, "state", telling != nullptr ? journal::name_of(telling->state) : "accepted");
  if (telling != nullptr && telling->state == LegState::kHeld) {
    member(out, "reason", telling->reason);
    member(out, "reasonText", reason_text(*telling));
  } else if (telling == nullptr) {
    member(out, "reason", kNoTarget);
    member(out, "reasonText", intake::reason_text(kNoTarget));
  }
  out += ",\"revisions\":[";
  for (const journal::Acceptance& one : *acceptances) {
    const auto record = record_at(store, one.position);
    if (!record) {
      return record.error();
    }
    out += out.back() == '[' ? "{" : ",{";
    number(out, "revision", one.revision);
    if (!record->time.empty()) {
      member(out, "received", record->time);
    }
    if (!record->reason.empty()) {
      member(out, "reason", record->reason);
    }
    number(out, "position", one.position);
    out += ",\"targets\":" + legs_view(store, *legs, one.revision, true) + "}";
  }
  return out + "]}";
}

namespace {

// What the translation that is sent says besides. Errors: kNotFound when it is nothing, or when a
// person released what was held.
base::Result<std::string> said_of(const journal::Store& store, const Leg& leg) {
  const auto made = leg.bundle != 0 ? store.head(leg.bundle) : base::Result<journal::Head>({});
  if (!made) {
    return made.error();
  }
  if (made->record.kind != journal::Kind::kChecked) {
    return base::Error(base::ErrorCode::kNotFound, "nothing of this session is held");
  }
  auto text = store.part(leg.bundle, "outcome");
  const bool none = !text && text.error().code == base::ErrorCode::kNotFound;
  return none ? base::Error(base::ErrorCode::kNotFound,
                            "nothing of this session is held, and nothing was said of it")
              : std::move(text);
}

}  // namespace

base::Result<std::string> outcome_view(const journal::Store& store, std::string_view session) {
  const auto legs = store.legs(session);
  if (!legs) {
    return legs.error();
  }
  const Leg* telling = telling_leg(*legs);
  if (telling == nullptr) {
    return base::Error(base::ErrorCode::kNotFound, "nothing was made of this session");
  }
  if (telling->state != LegState::kHeld) {
    return said_of(store, *telling);
  }
  for (const char* part : {"outcome", "answer"}) {
    auto text = store.part(telling->changed, part);
    const auto by = store.destroyed_by(telling->changed, part);
    if (text) {
      // What the server said may be anything; our own is an OperationOutcome.
      return std::string_view(part) == "answer" ? base::Result<std::string>(as_outcome(*text))
                                                : std::move(text);
    }
    if (by && by->has_value()) {
      return text;
    }
  }
  return base::Error(base::ErrorCode::kNotFound, "no outcome was kept");
}

base::Result<std::string> traffic_view(const journal::Store& store, std::size_t limit) {
  journal::Query query;
  query.kind = journal::Kind::kAccepted;
  query.newest_first = true;
  query.limit = limit;
  const auto records = store.search(query);
  if (!records) {
    return records.error();
  }
  std::string out = "[";
  for (const journal::Record& record : *records) {
    if (record.kind == journal::Kind::kUnreadable) {
      continue;
    }
    const auto legs = store.legs(record.session);
    if (!legs) {
      return legs.error();
    }
    out += out.size() > 1 ? ",{" : "{";
    member(out, "session", record.session);
    number(out, "revision", record.revision);
    member(out, "received", record.time);
    out += ",\"targets\":" + legs_view(store, *legs, record.revision, false) + "}";
  }
  return out + "]";
}

base::Result<std::string> history_view(const journal::Store& store, std::string_view patient) {
  journal::Query query;
  query.patient = patient;
  query.kind = journal::Kind::kAccepted;
  query.newest_first = true;
  query.limit = base::limits::kHistoryRecordsMax;
  const auto records = store.search(query);
  if (!records) {
    return records.error();
  }
  std::string out = "{\"sessions\":[";
  bool more = records->size() == query.limit;
  std::set<std::string_view> seen;
  for (const journal::Record& record : *records) {
    if (record.kind == journal::Kind::kUnreadable || !seen.insert(record.session).second) {
      continue;  // an older revision
    }
    const auto document = store.part(record.position, "document");
    const auto legs = store.legs(record.session);
    if (!document && document.error().code == base::ErrorCode::kNotFound) {
      continue;  // destroyed
    }
    if (!document || !legs) {
      return document ? legs.error() : document.error();
    }
    if (seen.size() > base::limits::kHistorySessionsMax ||
        out.size() + document->size() > base::limits::kHistoryBytesMax) {
      more = true;
      break;
    }
    const Leg* telling = telling_leg(*legs);
    out += out.back() == '[' ? "{" : ",{";
    member(out, "session", record.session);
    number(out, "revision", record.revision);
    member(out, "received", record.time);
    member(out, "state", telling != nullptr ? journal::name_of(telling->state) : "accepted");
    out += ",\"document\":" + *document + "}";
  }
  return out + "],\"more\":" + (more ? "true}" : "false}");
}

std::string record_view(const journal::Record& record) {
  std::string out = "{";
  number(out, "position", record.position);
  member(out, "time", record.time);
  member(out, "kind", journal::name_of(record.kind));
  if (!record.session.empty()) {
    member(out, "session", record.session);
    number(out, "revision", record.revision);
  }
  if (!record.target.empty()) {
    member(out, "target", record.target);
  }
  if (!record.reason.empty()) {
    member(out, "reason", record.reason);
    member(out, "reasonText", intake::reason_text(record.reason));
  }
  if (record.revived != 0) {
    number(out, "revived", record.revived);
  }
  return out + "}";
}

}  // namespace engine::web
