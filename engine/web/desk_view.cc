#include "engine/web/desk_view.h"

#include <algorithm>
#include <array>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/intake/steering.h"
#include "engine/journal/bound.h"
#include "engine/web/server_answer.h"
#include "engine/web/session_view.h"
#include "engine/web/view_text.h"

namespace engine::web {
namespace {

using journal::Kind;
using journal::Leg;
using journal::LegState;
using journal::Position;
using journal::Record;

bool ended(LegState state) {
  return state == LegState::kLanded || state == LegState::kSuperseded ||
         state == LegState::kWithdrawn;
}

bool fits(const Leg& leg, std::uint32_t revision, const DeskSearch& search) {
  return leg.revision == revision && (!search.state || leg.state == *search.state) &&
         (search.target.empty() || leg.target == search.target);
}

// Adds the revision to `out` when one of its legs fits.
base::Result<bool> add_message(const journal::Store& store, const Record& record,
                               const DeskSearch& search, std::string& out) {
  const auto legs = store.legs(record.session);
  if (!legs) {
    return legs.error();
  }
  const bool wanted = (!search.state && search.target.empty()) ||
                      std::any_of(legs->begin(), legs->end(), [&](const Leg& leg) {
                        return fits(leg, record.revision, search);
                      });
  if (!wanted) {
    return false;
  }
  out += out.back() == '[' ? "{" : ",{";
  member(out, "session", record.session);
  number(out, "revision", record.revision);
  if (!record.time.empty()) {
    member(out, "received", record.time);
  }
  number(out, "position", record.position);
  out += ",\"targets\":" + legs_view(store, *legs, record.revision, false) + "}";
  return true;
}

std::string ended_view(std::string out, Position next) {
  return out + (next != 0 ? "],\"next\":" + std::to_string(next) + "}" : "]}");
}

// An acceptance whose record cannot be read any more, as far as the tables of states tell of it.
Record unreadable_of(const std::vector<Leg>& legs, Position position) {
  Record out;
  out.kind = Kind::kUnreadable;
  out.position = position;
  for (const Leg& leg : legs) {
    if (leg.accepted == position) {
      out.session = leg.session;
      out.revision = leg.revision;
    }
  }
  return out;
}

// Of legs that have not ended there is an index, so that an old one that is held is found however
// much came after it.
base::Result<std::string> open_messages(const journal::Store& store, const DeskSearch& search) {
  const auto legs = store.in_state(*search.state, base::limits::kHistoryRecordsMax);
  if (!legs) {
    return legs.error();
  }
  std::vector<Position> at;
  for (const Leg& leg : *legs) {
    if ((search.before == 0 || leg.accepted < search.before) &&
        (search.session.empty() || leg.session == search.session) &&
        (search.patient.empty() || leg.patient == search.patient) &&
        (search.target.empty() || leg.target == search.target)) {
      at.push_back(leg.accepted);
    }
  }
  std::sort(at.begin(), at.end(), std::greater<>());
  at.erase(std::unique(at.begin(), at.end()), at.end());
  const std::string since = journal::bound_of(search.since);
  const std::string until = journal::bound_of(search.until);
  std::string out = "{\"messages\":[";
  std::size_t told = 0;
  for (const Position position : at) {
    if (told == base::limits::kTrafficMax) {
      return ended_view(std::move(out), position + 1);
    }
    const auto head = store.head(position);
    if (!head && head.error().code != base::ErrorCode::kCorrupt) {
      return head.error();
    }
    const Record record = head ? head->record : unreadable_of(*legs, position);
    if ((!since.empty() && record.time < since) || (!until.empty() && record.time >= until) ||
        (!search.therapist.empty() && record.therapist != search.therapist)) {
      continue;
    }
    const auto added = add_message(store, record, search, out);
    if (!added) {
      return added.error();
    }
    told += *added ? 1U : 0U;
  }
  return ended_view(std::move(out), 0);
}

journal::Query query_of(const DeskSearch& search) {
  journal::Query query;
  query.session = search.session;
  query.patient = search.patient;
  query.therapist = search.therapist;
  query.since = search.since;
  query.until = search.until;
  query.after = search.before;
  query.newest_first = true;
  return query;
}

void add_record(const Record& record, std::string& out) {
  out += out.back() == '[' ? "{" : ",{";
  number(out, "position", record.position);
  member(out, "time", record.time);
  member(out, "kind", journal::name_of(record.kind));
  const std::array<std::pair<std::string_view, const std::string*>, 6> texts = {
      {{"session", &record.session},
       {"target", &record.target},
       {"madeWith", &record.made_with},
       {"reason", &record.reason},
       {"actor", &record.actor},
       {"why", &record.why}}};
  for (const auto& [name, text] : texts) {
    if (!text->empty()) {
      member(out, name, *text);
    }
  }
  if (!record.reason.empty()) {
    member(out, "reasonText", intake::reason_text(record.reason));
  }
  const std::array<std::pair<std::string_view, std::uint64_t>, 3> numbers = {
      {{"revision", record.revision},
       {"status", static_cast<std::uint64_t>(std::max(record.status, 0))},
       {"attempt", record.attempt}}};
  for (const auto& [name, value] : numbers) {
    if (value != 0) {
      number(out, name, value);
    }
  }
  out += '}';
}

// The latest part of each kind, with the record that holds it.
struct Parts {
  std::string target;
  std::array<Position, 5> at{};
};
constexpr std::array<std::string_view, 5> kParts = {"bundle", "lineage", "outcome", "answer",
                                                    "landing"};

// Notes which parts a record holds. A later bundle makes what was said of an earlier one past.
void note_parts(const journal::Head& head, Parts& parts) {
  if (std::any_of(head.parts.begin(), head.parts.end(),
                  [](const journal::Head::PartMark& mark) { return mark.name == "bundle"; })) {
    parts.at = {};
  }
  for (const journal::Head::PartMark& mark : head.parts) {
    const auto found = std::find(kParts.begin(), kParts.end(), mark.name);
    if (found == kParts.end()) {
      continue;
    }
    parts.at[static_cast<std::size_t>(found - kParts.begin())] = head.record.position;
  }
}

base::Result<void> add_parts(const journal::Store& store, const Parts& parts, std::string& out,
                             std::string& left) {
  for (std::size_t i = 0; i < kParts.size(); ++i) {
    if (parts.at[i] == 0) {
      continue;
    }
    const auto text = store.part(parts.at[i], kParts[i]);
    if (!text && text.error().code == base::ErrorCode::kNotFound) {
      continue;  // destroyed, as the message says
    }
    if (!text) {
      return text.error();
    }
    if (out.size() + text->size() > base::limits::kHistoryBytesMax) {
      left += (left.empty() ? "\"" : ",\"") + std::string(kParts[i]) + "\"";
    } else if (kParts[i] == "answer") {
      member(out, kParts[i], as_utf8(*text));
    } else {
      out.append(",\"").append(kParts[i]).append("\":").append(*text);
    }
  }
  return {};
}

// The records of one revision, and the parts of each of its targets.
struct Told {
  Record accepted;
  std::vector<Parts> targets;
  std::string records = "[";
};

base::Result<Told> tell(const journal::Store& store, std::string_view session,
                        std::uint32_t revision) {
  journal::Query query;
  query.session = session;
  query.limit = base::limits::kHistoryRecordsMax;
  const auto records = store.search(query);
  if (!records) {
    return records.error();
  }
  Told told;
  for (const Record& record : *records) {
    if (record.revision != revision) {
      continue;
    }
    add_record(record, told.records);
    if (record.kind == Kind::kAccepted) {
      told.accepted = record;
    }
    const auto head = store.head(record.position);
    if (!head) {
      return head.error();
    }
    auto parts = std::find_if(told.targets.begin(), told.targets.end(),
                              [&](const Parts& one) { return one.target == record.target; });
    if (parts == told.targets.end()) {
      parts = told.targets.insert(parts, Parts{record.target, {}});
    }
    note_parts(*head, *parts);
  }
  told.records += ']';
  const auto acceptances = store.acceptances(session);
  for (const auto& one : acceptances ? *acceptances : std::vector<journal::Acceptance>()) {
    if (one.revision == revision && told.accepted.position == 0) {
      told.accepted.position = one.position;  // its record cannot be read
    }
  }
  if (told.accepted.position == 0) {
    return base::Error(base::ErrorCode::kNotFound, "there is no such revision of a session");
  }
  return told;
}

}  // namespace

base::Result<std::string> messages_view(const journal::Store& store, const DeskSearch& search) {
  if (search.state && !ended(*search.state)) {
    return open_messages(store, search);
  }
  journal::Query query = query_of(search);
  query.kind = Kind::kAccepted;
  // A state or a target may fit few of them: so many are looked at, and `next` tells where to go
  // on.
  query.limit = search.state || !search.target.empty() ? base::limits::kHistoryRecordsMax
                                                       : base::limits::kTrafficMax;
  const auto records = store.search(query);
  if (!records) {
    return records.error();
  }
  std::string out = "{\"messages\":[";
  std::size_t told = 0;
  for (const Record& record : *records) {
    if (record.kind == Kind::kUnreadable) {
      continue;  // the log lists it
    }
    if (told == base::limits::kTrafficMax) {
      return ended_view(std::move(out), record.position + 1);
    }
    const auto added = add_message(store, record, search, out);
    if (!added) {
      return added.error();
    }
    told += *added ? 1U : 0U;
  }
  return ended_view(std::move(out), records->size() == query.limit ? records->back().position : 0);
}

base::Result<std::string> message_view(const journal::Store& store, std::string_view session,
                                       std::uint32_t revision) {
  const auto told = tell(store, session, revision);
  const auto legs = store.legs(session);
  if (!told || !legs) {
    return told ? legs.error() : told.error();
  }
  const auto document = store.part(told->accepted.position, "document");
  if (!document && document.error().code != base::ErrorCode::kNotFound) {
    return document.error();
  }
  std::string left;
  std::string out = "{";
  member(out, "session", session);
  number(out, "revision", revision);
  if (!told->accepted.time.empty()) {
    member(out, "received", told->accepted.time);
  }
  if (document) {
    out += ",\"document\":" + *document;
  } else {
    member(out, "destroyed", document.error().detail);
  }
  out += ",\"targets\":[";
  for (const Leg& leg : *legs) {
    if (leg.revision != revision) {
      continue;
    }
    std::string one = leg_view(store, leg, false);
    one.pop_back();
    out += (out.back() == '[' ? "" : ",") + one;
    for (const Parts& parts : told->targets) {
      if (parts.target == leg.target) {
        if (auto added = add_parts(store, parts, out, left); !added) {
          return added.error();
        }
      }
    }
    out += '}';
  }
  return out + "],\"records\":" + told->records + ",\"left\":[" + left + "]}";
}

base::Result<std::string> log_view(const journal::Store& store, const DeskSearch& search) {
  journal::Query query = query_of(search);
  query.kind = search.kind;
  query.target = search.target;
  query.limit = base::limits::kTrafficMax;
  const auto records = store.search(query);
  if (!records) {
    return records.error();
  }
  std::string out = "{\"records\":[";
  for (const Record& record : *records) {
    add_record(record, out);
  }
  return ended_view(std::move(out), records->size() == query.limit ? records->back().position : 0);
}

}  // namespace engine::web
