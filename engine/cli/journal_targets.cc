#include "engine/cli/journal_targets.h"

#include <cstdio>
#include <set>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/cli/commands.h"
#include "engine/cli/shown_text.h"
#include "engine/cli/system_seams.h"
#include "engine/delivery/away.h"
#include "engine/journal/target_names.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

using base::Result;
using journal::Store;

// Also those that the last engine to start does not know any more: what landed in them is here.
Result<std::set<std::string>> ever_configured(const Store& store) {
  std::set<std::string> out;
  journal::Query query;
  query.kind = journal::Kind::kStarted;
  query.limit = base::limits::kEventsCatchUpMax;
  while (true) {
    const auto found = store.search(query);
    if (!found) {
      return found.error();
    }
    for (const journal::Record& start : *found) {
      for (std::string& name : journal::target_names(start.targets)) {
        out.insert(std::move(name));
      }
      query.after = start.position;
    }
    if (found->size() < query.limit) {
      return out;
    }
  }
}

int fail(const base::Error& error) {
  std::fprintf(stderr, "chartferry journal: %s\n", error.text().c_str());
  return kUsage;
}

std::string state_of(const std::optional<journal::Record>& paused, bool gone) {
  return gone ? "not-configured" : paused ? "paused" : "sending";
}

void print(const std::string& name, const std::optional<journal::Record>& paused, bool gone,
           const std::vector<Store::Count>& counts) {
  std::string line = name + " " + state_of(paused, gone);
  for (const Store::Count& count : counts) {
    if (count.target == name) {
      line.append(" ").append(journal::name_of(count.state));
      line += "=" + std::to_string(count.legs);
    }
  }
  if (paused) {
    line += " by " + paused->actor + " (" + paused->why + ") since " + paused->time;
  }
  std::printf("%s\n", shown_text(line).c_str());
}

void print_json(const std::string& name, const std::optional<journal::Record>& paused, bool gone,
                const std::vector<Store::Count>& counts) {
  std::string out = "{\"target\":";
  json::write_string(name, out);
  out += ",\"state\":\"" + state_of(paused, gone) + '"';
  if (paused) {
    out += ",\"pausedBy\":{\"actor\":";
    json::write_string(paused->actor, out);
    out += ",\"why\":";
    json::write_string(paused->why, out);
    out += ",\"since\":\"" + paused->time + "\",\"position\":" + std::to_string(paused->position);
    out += "}";
  }
  out += ",\"backlog\":{";
  for (const Store::Count& count : counts) {
    if (count.target == name) {
      out += out.back() == '{' ? "\"" : ",\"";
      out.append(journal::name_of(count.state)).append("\":" + std::to_string(count.legs));
    }
  }
  std::printf("%s}}\n", out.c_str());
}

}  // namespace

Result<void> check_target(const Store& store, const std::string& name) {
  const auto known = ever_configured(store);
  if (!known) {
    return known.error();
  }
  journal::Query query;
  query.target = name;
  query.limit = 1;
  const auto of_it =
      known->contains(name) ? Result<std::vector<journal::Record>>({}) : store.search(query);
  if (!of_it) {
    return of_it.error();
  }
  // Journals may hold records of before starts named the targets.
  if (known->contains(name) || !of_it->empty()) {
    return {};
  }
  std::string text = "there is no target '" + name + "' in this journal; ";
  for (const std::string& one : *known) {
    text += (one == *known->begin() ? "there are: " : ", ") + one;
  }
  return base::Error(base::ErrorCode::kNotFound, known->empty() ? text + "there is none" : text);
}

int list_targets(const Store& store, bool as_json) {
  const auto names = delivery::last_configured(store);
  const auto counts = store.open_counts();
  delivery::Pauses pauses;
  const auto read = pauses.follow(store);
  if (!names || !counts || !read) {
    return fail(!names ? names.error() : !counts ? counts.error() : read.error());
  }
  for (const std::string& name : *names) {
    (as_json ? print_json : print)(name, pauses.paused(name), false, *counts);
  }
  for (const delivery::GoneTarget& gone : delivery::gone_targets(*counts, *names)) {
    (as_json ? print_json : print)(gone.name, pauses.paused(gone.name), true, *counts);
  }
  return kOk;
}

Result<journal::Outcome> steer_target(Store& store, const delivery::PauseWish& wish) {
  const auto names = delivery::last_configured(store);
  if (!names) {
    return names.error();
  }
  delivery::Pauses pauses;
  if (auto read = pauses.follow(store); !read) {
    return std::move(read).error();
  }
  auto change = delivery::pause_change(pauses, *names, wish);
  if (!change) {
    return std::move(change).error();
  }
  const SystemClock clock;
  std::vector<journal::Change> batch;
  batch.push_back(std::move(*change));
  auto outcomes = store.commit(batch, clock);
  if (!outcomes) {
    return std::move(outcomes).error();
  }
  return std::move(outcomes->front());
}

std::string on_its_way(const Store& store, const std::string& target) {
  const auto counts = store.open_counts();
  for (const Store::Count& count : counts ? *counts : std::vector<Store::Count>()) {
    if (count.target == target && count.state == journal::LegState::kDispatched) {
      return " (" + std::to_string(count.legs) + " now)";
    }
  }
  return {};
}

}  // namespace engine::cli
