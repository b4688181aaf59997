#include "engine/delivery/target_desk.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <utility>

#include "engine/delivery/away.h"
#include "engine/json/write.h"

namespace engine::delivery {

using journal::LegState;

base::Result<void> TargetDesk::open(std::vector<Facts> facts, Couriers couriers) {
  facts_ = std::move(facts);
  couriers_ = std::move(couriers);
  for (const Facts& one : facts_) {
    names_.push_back(one.name);
  }
  seen_.resize(facts_.size());
  if (auto read = pauses_.follow(journal_.store()); !read) {
    return read;
  }
  if (auto read = log_.look_back(journal_.store()); !read) {
    return read;
  }
  for (std::size_t i = 0; i < couriers_.size(); ++i) {
    couriers_[i]->set_shut(pauses_.paused(names_[i]).has_value());
  }
  return {};
}

void TargetDesk::apply(std::size_t at) {
  if (under_way_.count(at) == 0) {
    couriers_[at]->set_shut(pauses_.paused(names_[at]).has_value());
  }
}

void TargetDesk::follow() {
  // A journal that cannot be read just now is looked at again soon.
  static_cast<void>(pauses_.follow(journal_.store()));
  std::vector<Seen> seen;
  for (std::size_t i = 0; i < couriers_.size(); ++i) {
    apply(i);
    seen.push_back({couriers_[i]->health(), couriers_[i]->in_flight(), facts_[i].mode()});
  }
  const std::lock_guard lock(mutex_);
  seen_ = std::move(seen);
}

void TargetDesk::steer(PauseWish wish, Done done) {
  auto change = pause_change(pauses_, names_, wish);
  if (!change) {
    done(change.error());
    return;
  }
  const auto at = static_cast<std::size_t>(std::find(names_.begin(), names_.end(), wish.target) -
                                           names_.begin());
  loop_.post([this, at, change = std::move(*change), done = std::move(done)]() mutable {
    begin(at, std::move(change), std::move(done));
  });
}

// On the loop, as the courier: what it gave the journal before this is written before this.
void TargetDesk::begin(std::size_t at, journal::Change change, Done done) {
  if (change.record.kind == journal::Kind::kPaused) {
    under_way_.insert(at);
    couriers_[at]->set_shut(true);
  }
  const bool pausing = change.record.kind == journal::Kind::kPaused;
  const auto settle = [this, at, pausing] {
    if (pausing) {
      under_way_.erase(under_way_.find(at));
    }
    apply(at);
  };
  const bool taken = journal_.submit(
      std::move(change), [this, settle, done](const base::Result<journal::Outcome>& outcome) {
        if (outcome) {
          pauses_.note(outcome->record);
        }
        loop_.post(settle);
        done(outcome);
      });
  if (!taken) {
    settle();
    done(base::Error(base::ErrorCode::kLimit, "the journal cannot keep up; try again later"));
  }
}

std::vector<TargetDesk::Gauge> TargetDesk::gauges() const {
  const std::lock_guard lock(mutex_);
  std::vector<Gauge> out;
  for (std::size_t i = 0; i < seen_.size(); ++i) {
    out.push_back({names_[i], seen_[i].health.paused, pauses_.paused(names_[i]).has_value(),
                   seen_[i].in_flight});
  }
  return out;
}

namespace {

void text(std::string& out, std::string_view name, std::string_view value) {
  out += out.back() == '{' ? "\"" : ",\"";
  out.append(name).append("\":");
  json::write_string(value, out);
}

void member(std::string& out, std::string_view name, std::string_view json) {
  out += out.back() == '{' ? "\"" : ",\"";
  out.append(name).append("\":").append(json);
}

std::string shortest(double number) {
  std::array<char, 32> digits{};
  const auto end = std::to_chars(digits.data(), digits.data() + digits.size(), number).ptr;
  return {digits.data(), end};
}

}  // namespace

base::Result<std::string> TargetDesk::view() const {
  const auto counts = journal_.store().open_counts();
  if (!counts) {
    return counts.error();
  }
  std::string out = "[";
  for (std::size_t i = 0; i < facts_.size(); ++i) {
    out += (i > 0 ? "," : "") + view_of(i, *counts);
  }
  for (const GoneTarget& gone : gone_targets(*counts, names_)) {
    std::string one = "{";
    text(one, "target", gone.name);
    text(one, "state", "not-configured");
    add_backlog(one, gone.name, *counts);
    out += (out.size() > 1 ? "," : "") + one + "}";
  }
  return out + "]";
}

void TargetDesk::add_backlog(std::string& out, std::string_view target,
                             const std::vector<journal::Store::Count>& counts) const {
  std::string backlog = "{";
  journal::Position oldest = 0;
  for (const journal::Store::Count& count : counts) {
    if (count.target == target) {
      member(backlog, journal::name_of(count.state), std::to_string(count.legs));
      const bool moves = count.state != LegState::kHeld;
      oldest = moves && (oldest == 0 || count.oldest < oldest) ? count.oldest : oldest;
    }
  }
  member(out, "backlog", backlog + "}");
  if (const auto head = journal_.store().head_text(oldest); head && oldest != 0) {
    if (const auto parsed = journal::parse_head(*head)) {
      text(out, "oldestWaiting", parsed->record.time);
    }
  }
}

std::string TargetDesk::view_of(std::size_t at,
                                const std::vector<journal::Store::Count>& counts) const {
  Seen seen;
  {
    const std::lock_guard lock(mutex_);
    seen = seen_[at];
  }
  const auto paused = pauses_.paused(names_[at]);
  std::string out = "{";
  text(out, "target", names_[at]);
  text(out, "state", paused ? "paused" : seen.health.paused ? "waiting" : "sending");
  if (paused) {
    std::string by = "{";
    text(by, "actor", paused->actor);
    text(by, "why", paused->why);
    text(by, "since", paused->time);
    member(by, "position", std::to_string(paused->position));
    member(out, "pausedBy", by + "}");
  } else if (seen.health.paused) {
    text(out, "reason", seen.health.reason);
  }
  add_backlog(out, names_[at], counts);
  const TargetLog::Last last = log_.last(names_[at]);
  if (!last.landing.empty()) {
    text(out, "lastLanding", last.landing);
  }
  if (!last.error.empty()) {
    std::string error = "{";
    text(error, "code", last.code);
    text(error, "time", last.error);
    if (last.status != 0) {
      member(error, "status", std::to_string(last.status));
    }
    member(out, "lastError", error + "}");
  }
  text(out, "mode", seen.mode);
  std::string limits = "{";
  member(limits, "inFlight", std::to_string(facts_[at].limits.in_flight_max));
  if (facts_[at].limits.requests_per_second > 0) {
    member(limits, "requestsPerSecond", shortest(facts_[at].limits.requests_per_second));
  }
  member(out, "limits", limits + "}");
  member(out, "inFlight", std::to_string(seen.in_flight));
  return out + "}";
}

}  // namespace engine::delivery
