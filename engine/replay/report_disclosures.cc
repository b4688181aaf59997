#include <map>
#include <optional>
#include <set>
#include <utility>

#include "engine/delivery/exchange.h"
#include "engine/journal/words.h"
#include "engine/replay/report_pages.h"
#include "engine/replay/reports.h"
#include "engine/replay/resend.h"

namespace engine::replay {

using journal::Kind;
using journal::Record;

namespace {

// What a record says of a session's way out of the house.
std::optional<Disclosure::What> what_of(const Record& record) {
  switch (record.kind) {
    case Kind::kLanded:
      return record.reason != delivery::kNothingToSend ? std::optional(Disclosure::What::kLanded)
                                                       : std::nullopt;
    case Kind::kRead:
      return record.reason.starts_with(kResend) ? Disclosure::What::kResend
                                                : Disclosure::What::kRead;
    case Kind::kAnswered:
    case Kind::kHeld:
      if (record.unknown) {
        return Disclosure::What::kPerhaps;
      }
      // A hold by the check comes before anything was sent, and has no answer.
      return record.status != 0 ? std::optional(Disclosure::What::kNotTaken) : std::nullopt;
    default:
      return std::nullopt;
  }
}

// Which sends of one session no answer is known of: the engine ended before it came, or it is still
// awaited. Records in their order.
class OpenSends {
 public:
  void note(const Record& record) {
    const bool sent = record.kind == Kind::kDispatched;
    if (!sent && record.kind != Kind::kAnswered && record.kind != Kind::kHeld &&
        record.kind != Kind::kLanded) {
      return;
    }
    journal::Position& open = open_[{record.revision, record.target}];
    if (sent && open != 0) {
      unanswered_.insert(open);
    }
    open = sent ? record.position : 0;
  }
  std::set<journal::Position> unanswered() && {
    for (const auto& [leg, position] : open_) {
      if (position != 0) {
        unanswered_.insert(position);
      }
    }
    return std::move(unanswered_);
  }

 private:
  std::map<std::pair<std::uint32_t, std::string>, journal::Position> open_;
  std::set<journal::Position> unanswered_;
};

// Of one session. Read to its end for the answers, which may come behind the range; then told.
base::Result<void> tell_session(const journal::Store& store, const std::string& session,
                                const Range& range, Unread& unread, const OnDisclosure& visit) {
  journal::Query query;
  query.session = session;
  query.since = range.since;
  OpenSends sends;
  auto done = each_record(store, query, unread, [&](Record& record) -> base::Result<void> {
    sends.note(record);
    return {};
  });
  if (!done) {
    return done;
  }
  const auto unanswered = std::move(sends).unanswered();
  query.until = range.until;
  return each_record(store, query, unread, [&](Record& record) -> base::Result<void> {
    const auto what = unanswered.contains(record.position)
                          ? std::optional(Disclosure::What::kPerhaps)
                          : what_of(record);
    if (what) {
      visit({*what, std::move(record)});
    }
    return {};
  });
}

}  // namespace

std::string_view name_of(Disclosure::What what) {
  switch (what) {
    case Disclosure::What::kLanded:
      return "landed";
    case Disclosure::What::kPerhaps:
      return "may-have-landed";
    case Disclosure::What::kNotTaken:
      return "not-taken";
    case Disclosure::What::kRead:
      return "read";
    case Disclosure::What::kResend:
      return "resend";
  }
  return "";
}

base::Result<Unread> disclosures(const journal::Store& store, const std::string& patient,
                                 const Range& range, const OnDisclosure& visit) {
  Unread unread;
  // Sessions that were taken in before the range may have landed or been read in it.
  std::set<std::string> sessions;
  journal::Query query;
  query.patient = patient;
  query.kind = Kind::kAccepted;
  auto done = each_record(store, query, unread, [&](Record& record) -> base::Result<void> {
    sessions.insert(std::move(record.session));
    return {};
  });
  for (auto session = sessions.begin(); done && session != sessions.end(); ++session) {
    done = tell_session(store, *session, range, unread, visit);
  }
  if (!done) {
    return std::move(done).error();
  }
  query.kind = Kind::kRead;
  query.since = range.since;
  query.until = range.until;
  done = each_record(store, query, unread, [&](Record& record) -> base::Result<void> {
    if (const auto what = what_of(record); what && !sessions.contains(record.session)) {
      visit({*what, std::move(record)});
    }
    return {};
  });
  return done ? base::Result<Unread>(std::move(unread)) : std::move(done).error();
}

namespace {

// Whether the therapist that a record names did it. Of a look it is whose sessions were looked for.
bool is_own_act(Kind kind) {
  switch (kind) {
    case Kind::kAccepted:
    case Kind::kRepeated:
    case Kind::kConflicting:
    case Kind::kRefused:
    case Kind::kHandedOut:
    case Kind::kLinkEnded:
      return true;
    default:
      return false;
  }
}

}  // namespace

base::Result<Unread> activity(const journal::Store& store, const Person& person, const Range& range,
                              const OnAct& visit) {
  Unread unread;
  static const json::NameTable names;
  json::Document document(names);
  journal::Query query;
  query.since = range.since;
  query.until = range.until;
  // Therapists are indexed, actors are not.
  query.therapist = person.actor.empty() ? person.therapist : std::string();
  auto done = each_record(store, query, unread, [&](Record& record) -> base::Result<void> {
    const bool entered = !person.therapist.empty() && record.therapist == person.therapist &&
                         is_own_act(record.kind);
    const bool acted = !person.actor.empty() && journal::goes_by(record.actor, person.actor);
    if (!entered && !acted) {
      return {};
    }
    std::string why = record.why;
    if (record.kind == Kind::kAccepted && record.revision > 1) {
      const auto read = read_document(store, record.position, document);
      if (!read && read.error().code != base::ErrorCode::kNotFound &&
          read.error().code != base::ErrorCode::kCorrupt) {
        return read;
      }
      const json::Node* change = read ? document.root()->find("change") : nullptr;
      if (!read) {
        why = "(" + read.error().detail + ")";
      } else if (change != nullptr) {
        why = change->string_at("reason");
      }
    }
    visit(record, why);
    return {};
  });
  return done ? base::Result<Unread>(std::move(unread)) : std::move(done).error();
}

}  // namespace engine::replay
