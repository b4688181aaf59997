#include "engine/cli/journal_list.h"

#include <cstdint>
#include <cstdio>
#include <functional>
#include <string_view>
#include <vector>

#include "engine/cli/commands.h"
#include "engine/cli/shown_text.h"
#include "engine/delivery/conflict.h"
#include "engine/delivery/pieces.h"
#include "engine/json/write.h"

namespace engine::cli {

void print_line(const journal::Record& record) {
  std::string who = record.actor.empty() ? std::string() : " by " + record.actor;
  if (!record.why.empty()) {
    who += " (" + record.why + ")";
  }
  std::printf("%8llu %s %-11s %s/%u %s%s%s%s\n", static_cast<unsigned long long>(record.position),
              record.time.c_str(), std::string(journal::name_of(record.kind)).c_str(),
              record.session.empty() ? "-" : record.session.c_str(), record.revision,
              record.target.c_str(), record.reason.empty() ? "" : " ",
              shown_text(record.reason).c_str(), shown_text(who).c_str());
}

void print_json_line(const journal::Record& record) {
  std::string out = "{\"position\":" + std::to_string(record.position);
  const auto text = [&out](const char* name, std::string_view value) {
    if (!value.empty()) {
      out += std::string(",\"") + name + "\":";
      json::write_string(value, out);
    }
  };
  const auto number = [&out](const char* name, std::int64_t value) {
    if (value != 0) {
      out += std::string(",\"") + name + "\":" + std::to_string(value);
    }
  };
  text("time", record.time);
  text("kind", journal::name_of(record.kind));
  text("session", record.session);
  number("revision", record.revision);
  text("patient", record.patient);
  text("target", record.target);
  text("made-with", record.made_with);
  text("reason", record.reason);
  text("actor", record.actor);
  text("why", record.why);
  number("status", record.status);
  number("attempt", record.attempt);
  number("revived", record.revived);
  std::printf("%s}\n", out.c_str());
}

namespace {

using base::Result;
using journal::Leg;
using journal::LegState;
using journal::Record;
using journal::Store;
using Conflicts = std::vector<delivery::Conflict>;

// Records read at one time: a journal of any length is listed in little memory.
constexpr std::size_t kPage = 256;
// Of legs that have not ended, and of held ones, there are no more than wait: all of them.
constexpr std::size_t kAllLegs = std::size_t{1} << 40;

int fail(const base::Error& error) {
  std::fprintf(stderr, "chartferry journal: %s\n", error.text().c_str());
  return kUsage;
}

// Each record that fits, until the visitor says false.
Result<void> each_of(const Store& store, journal::Query query,
                     const std::function<Result<bool>(const Record&)>& visit) {
  const auto last = store.size();
  if (!last) {
    return last.error();
  }
  query.limit = kPage;
  while (true) {
    const auto records = store.search(query);
    if (!records) {
      return records.error();
    }
    for (const Record& record : *records) {
      const auto more = record.position <= *last ? visit(record) : Result<bool>(false);
      if (!more) {
        return more.error();
      }
      if (!*more) {
        return {};
      }
      query.after = record.position;
    }
    if (records->size() < kPage) {
      return {};
    }
  }
}

// Why it is not said what is in a revision's way: the part that says so is sealed, or damaged.
std::string unsaid(const Store& store, const Leg& leg, const Result<Conflicts>& conflicts) {
  const bool too_large = leg.state == LegState::kHeld && leg.reason == delivery::kTooLarge;
  const auto part = too_large ? store.part(leg.changed, "outcome") : Result<std::string>({});
  return !conflicts ? conflicts.error().text() : !part ? part.error().text() : std::string();
}

void print_leg(const Store& store, const Leg& leg) {
  std::printf("%8llu %s/%u %s %s %s\n", static_cast<unsigned long long>(leg.accepted),
              leg.session.c_str(), leg.revision, leg.target.c_str(),
              std::string(journal::name_of(leg.state)).c_str(), leg.reason.c_str());
  const auto conflicts = delivery::conflicts_of(store, leg);
  for (const delivery::Conflict& one : conflicts ? *conflicts : Conflicts()) {
    std::printf("         %s\n", shown_text(delivery::to_sentence(one)).c_str());
  }
  if (const std::string detail = delivery::too_large_sentence(store, leg); !detail.empty()) {
    std::printf("         %s\n", shown_text(detail).c_str());
  }
  if (const std::string why = unsaid(store, leg, conflicts); !why.empty()) {
    std::printf("         what is in its way cannot be said: %s\n", shown_text(why).c_str());
  }
}

void print_json_leg(const Store& store, const Leg& leg) {
  std::string out = "{\"accepted\":" + std::to_string(leg.accepted) + ",\"session\":";
  json::write_string(leg.session, out);
  out += ",\"revision\":" + std::to_string(leg.revision) + ",\"target\":";
  json::write_string(leg.target, out);
  out += ",\"state\":\"" + std::string(journal::name_of(leg.state)) + "\"";
  if (!leg.reason.empty()) {
    out += ",\"reason\":";
    json::write_string(leg.reason, out);
  }
  const auto conflicts = delivery::conflicts_of(store, leg);
  if (conflicts && !conflicts->empty()) {
    out += ",\"conflict\":" + delivery::to_text(*conflicts);
  }
  if (const std::string detail = delivery::too_large_sentence(store, leg); !detail.empty()) {
    out += ",\"detail\":";
    json::write_string(detail, out);
  }
  if (const std::string why = unsaid(store, leg, conflicts); !why.empty()) {
    out += ",\"unsaid\":";
    json::write_string(why, out);
  }
  std::printf("%s}\n", out.c_str());
}

// Of an acceptance whose head cannot be read, what list of records goes by: its columns.
Result<bool> columns_fit(const Store& store, journal::Position position, journal::Query query) {
  query.patient.clear();
  query.target.clear();
  query.kind = journal::Kind::kAccepted;
  query.after = position - 1;
  query.limit = 1;
  const auto found = store.search(query);
  if (!found) {
    return found.error();
  }
  return !found->empty() && found->front().position == position;
}

// Whether the acceptance of a leg fits. Its head is read only when it has to say so.
Result<bool> fits(const Store& store, const Leg& leg, const journal::Query& query) {
  if ((!query.session.empty() && leg.session != query.session) ||
      (!query.patient.empty() && leg.patient != query.patient) ||
      (!query.target.empty() && leg.target != query.target)) {
    return false;
  }
  if (query.since.empty() && query.until.empty() && query.therapist.empty()) {
    return true;
  }
  const auto text = store.head_text(leg.accepted);
  const auto head = text ? journal::parse_head(*text) : Result<journal::Head>(text.error());
  if (!head) {
    return head.error().code == base::ErrorCode::kIo ? Result<bool>(head.error())
                                                     : columns_fit(store, leg.accepted, query);
  }
  const Record& record = head->record;
  return (query.since.empty() || record.time >= query.since) &&
         (query.until.empty() || record.time < query.until) &&
         (query.therapist.empty() || record.therapist == query.therapist);
}

bool is_open(LegState state) {
  return state != LegState::kLanded && state != LegState::kSuperseded &&
         state != LegState::kWithdrawn;
}

// Legs in a state, oldest first, until the visitor says false.
Result<void> each_leg(const Store& store, LegState state, const journal::Query& query,
                      const std::function<bool(const Leg&)>& visit) {
  if (is_open(state)) {
    const auto legs = store.in_state(state, kAllLegs);
    if (!legs) {
      return legs.error();
    }
    for (const Leg& leg : *legs) {
      const auto fit = fits(store, leg, query);
      if (!fit) {
        return fit.error();
      }
      if (*fit && !visit(leg)) {
        return {};
      }
    }
    return {};
  }
  // Of those that have ended there may be any number: by their acceptances, a page at a time.
  journal::Query accepted = query;
  accepted.kind = journal::Kind::kAccepted;
  accepted.target.clear();
  return each_of(store, accepted, [&](const Record& record) -> Result<bool> {
    const auto legs = store.legs(record.session);
    if (!legs) {
      return legs.error();
    }
    for (const Leg& leg : *legs) {
      if (leg.accepted == record.position && leg.state == state &&
          (query.target.empty() || leg.target == query.target) && !visit(leg)) {
        return false;
      }
    }
    return true;
  });
}

}  // namespace

int list_records(const Store& store, const ListWish& wish) {
  std::size_t told = 0;
  journal::Position last = 0;
  bool more = false;
  const auto done = each_of(store, wish.query, [&](const Record& record) -> Result<bool> {
    if (wish.limit != 0 && told == wish.limit) {
      more = true;
      return false;
    }
    wish.as_json ? print_json_line(record) : print_line(record);
    ++told;
    last = record.position;
    return true;
  });
  if (!done) {
    return fail(done.error());
  }
  if (more) {
    std::fprintf(stderr, "chartferry journal: there are more records: go on with --after %llu\n",
                 static_cast<unsigned long long>(last));
  }
  return kOk;
}

int list_legs(const Store& store, const std::string& name, const ListWish& wish) {
  const auto state = journal::leg_state_of(name);
  if (!state) {
    std::fprintf(stderr, "chartferry journal: there is no state '%s'\n", name.c_str());
    return kUsage;
  }
  std::size_t told = 0;
  bool more = false;
  const auto done = each_leg(store, *state, wish.query, [&](const Leg& leg) {
    if (wish.limit != 0 && told == wish.limit) {
      more = true;
      return false;
    }
    wish.as_json ? print_json_leg(store, leg) : print_leg(store, leg);
    ++told;
    return true;
  });
  if (!done) {
    return fail(done.error());
  }
  if (more) {
    std::fprintf(stderr, "chartferry journal: there are more: give no --limit, or a larger one\n");
  }
  return kOk;
}

}  // namespace engine::cli
