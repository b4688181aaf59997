#include "engine/cli/journal_list.h"

#include <cstdint>
#include <cstdio>
#include <string_view>
#include <vector>

#include "engine/cli/commands.h"
#include "engine/delivery/conflict.h"
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
              record.target.c_str(), record.reason.empty() ? "" : " ", record.reason.c_str(),
              who.c_str());
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
  std::printf("%s}\n", out.c_str());
}

int list_legs(const journal::Store& store, const std::string& name, std::size_t limit) {
  const auto state = journal::leg_state_of(name);
  if (!state) {
    std::fprintf(stderr, "chartferry journal: there is no state '%s'\n", name.c_str());
    return kUsage;
  }
  const auto legs = store.in_state(*state, limit);
  if (!legs) {
    std::fprintf(stderr, "chartferry journal: %s\n", legs.error().text().c_str());
    return kUsage;
  }
  for (const journal::Leg& leg : *legs) {
    std::printf("%8llu %s/%u %s %s %s\n", static_cast<unsigned long long>(leg.accepted),
                leg.session.c_str(), leg.revision, leg.target.c_str(),
                std::string(journal::name_of(leg.state)).c_str(), leg.reason.c_str());
    const auto conflicts = delivery::conflicts_of(store, leg);
    for (const delivery::Conflict& one :
         conflicts ? *conflicts : std::vector<delivery::Conflict>()) {
      std::printf("         %s\n", delivery::to_sentence(one).c_str());
    }
  }
  return kOk;
}

}  // namespace engine::cli
