#include "engine/replay/reconcile.h"

#include <algorithm>
#include <array>
#include <map>
#include <optional>
#include <utility>

#include "engine/base/limits.h"
#include "engine/delivery/conflict.h"
#include "engine/delivery/landing.h"
#include "engine/delivery/location.h"
#include "engine/delivery/lookup.h"
#include "engine/delivery/sent_resources.h"
#include "engine/json/document.h"

namespace engine::replay {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using delivery::Call;
using delivery::Reply;
using delivery::SentResources;
using delivery::Sight;
using journal::Position;

// How often a drift is looked at again because the session has landed anew meanwhile.
constexpr int kLooksMax = 3;

struct Landed {
  std::string place;  // empty: the server named none
  std::string etag;   // empty too when what landed was not seen to be as it was sent
  Position position = 0;
  Position bundle = 0;
  std::uint32_t revision = 0;
};
// By fullUrl, which is the same in every revision of a session: a later landing stands for it,
// wherever it is.
using OfSession = std::map<std::string, Landed, std::less<>>;
using Landings = std::map<std::string, OfSession>;

std::vector<std::string> full_urls_of(std::string_view bundle) {
  static const json::NameTable names;
  json::Document document(names);
  std::vector<std::string> out;
  const json::Node* list = document.parse(bundle) ? document.root()->find("entry") : nullptr;
  for (const json::Node* entry = list != nullptr ? list->first : nullptr; entry != nullptr;
       entry = entry->next) {
    out.emplace_back(entry->string_at("fullUrl"));
  }
  return out;
}

// Reads what landed.
class Reader {
 public:
  Reader(const journal::Store& store, std::string target)
      : store_(store), target_(std::move(target)) {}

  // What the record says landed. Errors: kNotFound when it was destroyed, kCorrupt when it cannot
  // be read; others of the journal.
  Result<OfSession> read(const journal::Record& record) const {
    const auto text = store_.part(record.position, "landing");
    const auto legs = text ? store_.legs(record.session) : text.error();
    if (!legs) {
      return legs.error();
    }
    const auto leg = std::find_if(legs->begin(), legs->end(), [&record](const journal::Leg& one) {
      return one.revision == record.revision && one.target == record.target && one.bundle != 0;
    });
    const auto landing = delivery::parse_landing(*text);
    if (leg == legs->end() || !landing) {
      return Error(ErrorCode::kCorrupt, "a landing cannot be read");
    }
    const auto bundle = store_.part(leg->bundle, "bundle");
    if (!bundle) {
      return bundle.error();
    }
    const std::vector<std::string> full_urls = full_urls_of(*bundle);
    OfSession out;
    for (std::size_t i = 0; i < full_urls.size() && i < landing->size(); ++i) {
      const delivery::LandedEntry& row = (*landing)[i];
      if (row.not_sent) {
        continue;
      }
      const std::string etag = delivery::entity_tag_of(row.etag);
      out[full_urls[i]] = {delivery::resource_of(row.location),
                           row.unproven    ? std::string()
                           : !etag.empty() ? etag
                                           : delivery::version_of(row.location),
                           record.position, leg->bundle, record.revision};
    }
    return out;
  }

  // Errors: kIo, kCorrupt of the journal.
  template <class Visit>
  Result<void> each(journal::Query search, const Visit& visit) const {
    search.target = target_;
    search.kind = journal::Kind::kLanded;
    search.limit = base::limits::kEventsCatchUpMax;
    while (true) {
      const auto records = store_.search(search);
      if (!records) {
        return records.error();
      }
      for (const journal::Record& record : *records) {
        search.after = record.position;
        if (auto visited = visit(record); !visited) {
          return visited;
        }
      }
      if (records->size() < search.limit) {
        return {};
      }
    }
  }

  // All of a session by now. What cannot be read is left out.
  Result<OfSession> session(const std::string& session) const {
    OfSession out;
    journal::Query search;
    search.session = session;
    const auto read_all = each(search, [&](const journal::Record& record) -> Result<void> {
      const auto landed = read(record);
      for (const auto& [full_url, one] : landed ? *landed : OfSession()) {
        out[full_url] = one;
      }
      return landed || landed.error().code != ErrorCode::kIo ? Result<void>() : landed.error();
    });
    return read_all ? Result<OfSession>(std::move(out)) : read_all.error();
  }

  // Nobody knows just now what it is.
  Result<bool> is_under_way(const std::string& session) const {
    const auto legs = store_.legs(session);
    if (!legs) {
      return legs.error();
    }
    return std::any_of(legs->begin(), legs->end(), [this](const journal::Leg& leg) {
      return leg.target == target_ && leg.state == journal::LegState::kDispatched;
    });
  }

  const journal::Store& store() const { return store_; }

 private:
  const journal::Store& store_;
  const std::string target_;
};

// What the range chooses, as the latest landing has it.
Result<Landings> landed_resources(const Reader& reader, const ReconcileQuery& query,
                                  ReconcileReport& report) {
  Landings out;
  const auto add = [&](const journal::Record& record, bool chosen) -> Result<void> {
    if (record.kind == journal::Kind::kUnreadable) {
      report.unreadable += chosen ? 1U : 0U;
      return {};
    }
    if (!chosen && !out.contains(record.session)) {
      return {};
    }
    const auto landed = reader.read(record);
    if (!landed) {
      const ErrorCode code = landed.error().code;
      report.destroyed += chosen && code == ErrorCode::kNotFound ? 1U : 0U;
      report.unreadable += chosen && code == ErrorCode::kCorrupt ? 1U : 0U;
      const bool passed_over = code == ErrorCode::kNotFound || code == ErrorCode::kCorrupt;
      return passed_over ? Result<void>() : landed.error();
    }
    OfSession& session = out[record.session];
    for (const auto& [full_url, one] : *landed) {
      if (chosen || session.contains(full_url)) {
        session[full_url] = one;
      }
    }
    return {};
  };
  journal::Query search;
  search.since = query.since;
  search.until = query.until;
  auto done = reader.each(search, [&](const journal::Record& one) { return add(one, true); });
  if (done && !query.until.empty()) {
    search.since = query.until;
    search.until.clear();
    done = reader.each(search, [&](const journal::Record& one) { return add(one, false); });
  }
  return done ? Result<Landings>(std::move(out)) : done.error();
}

// Compares what one server has with what landed.
class Comparer {
 public:
  using Ask = std::function<Reply(Call call)>;
  Comparer(const Reader& reader, const Ask& ask, ReconcileReport& report)
      : reader_(reader), ask_(ask), report_(report) {}

  // Errors: of the journal; kPeer.
  Result<void> compare(const std::string& session, OfSession landed) {
    sent_.clear();
    for (auto& [full_url, one] : landed) {
      if (one.place.empty()) {
        ++report_.unnamed;
        continue;
      }
      ++report_.resources;
      if (auto done = compare_one(session, full_url, std::move(one)); !done) {
        return done;
      }
    }
    return {};
  }

 private:
  // Nothing when it is as it landed.
  using Found = std::optional<Drift>;

  Result<void> compare_one(const std::string& session, const std::string& full_url, Landed landed) {
    for (int look = 1;; ++look) {
      auto found = look_at(full_url, landed);
      if (!found) {
        return found.error();
      }
      if (!*found) {
        ++report_.same;
        return {};
      }
      // An engine at work may have landed it anew since the journal was read.
      auto now = reader_.session(session);
      const auto under_way = now ? reader_.is_under_way(session) : now.error();
      if (!under_way) {
        return under_way.error();
      }
      const auto newer = now->find(full_url);
      if (newer != now->end() && newer->second.position > landed.position && look < kLooksMax) {
        landed = std::move(newer->second);
      } else if (*under_way) {
        ++report_.under_way;
        return {};
      } else {
        note(session, landed, std::move(**found));
        return {};
      }
    }
  }

  void note(const std::string& session, const Landed& landed, Drift drift) {
    ++report_.drifted;
    if (report_.drifts.size() < base::limits::kIssuesMax) {
      drift.resource = landed.place;
      drift.landed = landed.etag;
      drift.position = landed.position;
      drift.session = session;
      drift.revision = landed.revision;
      report_.drifts.push_back(std::move(drift));
    }
  }

  static Drift drift(Drift::Kind kind, std::string found) {
    Drift out;
    out.kind = kind;
    out.found = std::move(found);
    return out;
  }

  Result<Sight> sight_of(std::string_view place, int& status) {
    const Reply reply = ask_(delivery::call_for(place, "chartferry"));
    if (reply.fate != Reply::Fate::kAnswered) {
      return Error(ErrorCode::kPeer, "the record server does not answer: " + reply.failure);
    }
    status = reply.status;
    static constexpr std::array<int, 6> kBusy = {408, 425, 429, 502, 503, 504};
    if (std::find(kBusy.begin(), kBusy.end(), status) != kBusy.end()) {
      return Error(ErrorCode::kPeer,
                   "the record server is busy or away: HTTP " + std::to_string(status));
    }
    if (status == 401 || status == 403) {
      return Error(ErrorCode::kPeer,
                   "the record server does not let us read: HTTP " + std::to_string(status));
    }
    Sight sight;
    if (!delivery::read_sight(place, reply, sight)) {
      sight.kind = Sight::Kind::kOther;
    }
    return sight;
  }

  Result<Found> look_at(const std::string& full_url, const Landed& landed) {
    const auto sent = sent_with(landed.bundle);
    int status = 0;
    const auto sight = sent ? sight_of(landed.place, status) : sent.error();
    if (!sight) {
      return sight.error();
    }
    const std::string answer = "HTTP " + std::to_string(status);
    const bool there = sight->kind == Sight::Kind::kThere;
    const std::string search((*sent)->search_of(full_url));
    const bool named = there && (search.empty() || sight->content.empty() ||
                                 (*sent)->is_of_same_name(full_url, sight->content));
    if (named) {
      const bool told = !sight->etag.empty() && !landed.etag.empty();
      if (told && delivery::same_version(sight->etag, landed.etag)) {
        return Found();
      }
      if (told) {
        return Found(drift(Drift::Kind::kChanged, sight->etag));
      }
      return look_into(**sent, full_url, *sight, answer);
    }
    if (!there && sight->kind != Sight::Kind::kAbsent && sight->kind != Sight::Kind::kGone) {
      return Found(drift(Drift::Kind::kUnknown, answer));
    }
    const Drift nowhere =
        drift(there ? Drift::Kind::kOther : Drift::Kind::kGone, there ? sight->etag : answer);
    return search.empty() ? Result<Found>(nowhere) : look_for(**sent, full_url, search, nowhere);
  }

  // Without a version on both sides the content tells.
  Result<Found> look_into(const SentResources& sent, const std::string& full_url,
                          const Sight& sight, const std::string& answer) {
    if (sight.content.empty()) {
      return Found(drift(Drift::Kind::kUnknown, answer));
    }
    if (auto meant = resolve(sent); !meant) {
      return meant.error();
    }
    if (sent.is_as_sent(full_url, sight.content, references_)) {
      return Found();
    }
    return Found(drift(Drift::Kind::kChanged, sight.etag.empty() ? answer : sight.etag));
  }

  // What was sent anew to another server, or to one that was brought back, has other ids.
  Result<Found> look_for(const SentResources& sent, const std::string& full_url,
                         const std::string& search, const Drift& nowhere) {
    int status = 0;
    const auto sight = sight_of(search, status);
    if (!sight) {
      return sight.error();
    }
    if (sight->kind != Sight::Kind::kThere) {
      return Found(nowhere);
    }
    const auto found = look_into(sent, full_url, *sight, sight->resource);
    if (found && !*found) {
      ++report_.moved;
    }
    return found && *found ? Found(drift(Drift::Kind::kChanged, sight->resource)) : found;
  }

  // Whose chart it is on is asked of the server, once for each.
  Result<void> resolve(const SentResources& sent) {
    for (const std::string& search : sent.searches()) {
      if (references_.contains(search)) {
        continue;
      }
      int status = 0;
      const auto sight = sight_of(search, status);
      if (!sight) {
        return sight.error();
      }
      if (sight->kind != Sight::Kind::kForbidden && sight->kind != Sight::Kind::kOther) {
        references_[search] = sight->kind == Sight::Kind::kThere ? sight->resource : std::string();
      }
    }
    return {};
  }

  Result<const SentResources*> sent_with(Position bundle) {
    auto known = sent_.find(bundle);
    if (known == sent_.end()) {
      const auto text = reader_.store().part(bundle, "bundle");
      if (!text) {
        return text.error();
      }
      known = sent_.emplace(bundle, SentResources(*text)).first;
    }
    return &known->second;
  }

  const Reader& reader_;
  const Ask& ask_;
  ReconcileReport& report_;
  std::map<Position, SentResources> sent_;  // bundles of the session
  delivery::References references_;
};

}  // namespace

Result<ReconcileReport> reconcile(const journal::Store& store, const ReconcileQuery& query,
                                  const std::function<Reply(Call call)>& ask) {
  ReconcileReport report;
  const Reader reader(store, query.target);
  auto landings = landed_resources(reader, query, report);
  if (!landings) {
    return std::move(landings).error();
  }
  Comparer comparer(reader, ask, report);
  for (auto& [session, landed] : *landings) {
    if (auto done = comparer.compare(session, std::move(landed)); !done) {
      return done.error();
    }
  }
  return report;
}

}  // namespace engine::replay
