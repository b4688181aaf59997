#include "engine/people/gate.h"

#include <algorithm>
#include <map>
#include <utility>

#include "engine/base/limits.h"
#include "engine/base/network.h"
#include "engine/people/secrets.h"

namespace engine::people {

Gate::Gate(People people, const base::Clock& clock, base::Random& random)
    : clock_(clock), random_(random), people_(std::move(people)), tries_(make_secret(random)) {
  thread_ = std::thread([this] { work(); });
}

Gate::~Gate() {
  {
    const std::lock_guard lock(mutex_);
    ending_ = true;
  }
  changed_.notify_all();
  thread_.join();
}

void Gate::renew(People people) {
  const std::lock_guard lock(mutex_);
  people_ = std::move(people);
}

std::optional<Entry> Gate::signed_in(std::string_view secret, Use use) {
  const std::lock_guard lock(mutex_);
  const auto known = sign_ins_.find(secret, clock_.steady(), use == Use::kCounts);
  if (!known) {
    return std::nullopt;
  }
  const Entry* entry = people_.find(known->name);
  if (entry == nullptr || entry->secret != known->kept_password) {
    sign_ins_.end(secret);
    return std::nullopt;
  }
  return *entry;
}

std::optional<Entry> Gate::system(std::string_view token) {
  const std::string kept = keep_secret(token);
  const std::lock_guard lock(mutex_);
  const Entry* entry = people_.find_system(kept);
  return entry == nullptr ? std::nullopt : std::optional(*entry);
}

// The last one of the network that has the most of them, when `address` has fewer: nobody keeps
// others out by trying often. The end of the queue when there is none.
std::deque<Gate::Waiting>::iterator Gate::who_makes_room(const std::string& address) {
  std::map<std::string, std::size_t> counts;
  for (const Waiting& one : waiting_) {
    ++counts[base::network_of(one.attempt.address)];
  }
  const auto most =
      std::max_element(counts.begin(), counts.end(),
                       [](const auto& a, const auto& b) { return a.second < b.second; });
  if (most == counts.end() || most->second <= counts[base::network_of(address)] + 1) {
    return waiting_.end();
  }
  const auto last = std::find_if(waiting_.rbegin(), waiting_.rend(), [&](const Waiting& one) {
    return base::network_of(one.attempt.address) == most->first;
  });
  return std::prev(last.base());
}

void Gate::sign_in(Attempt attempt, Told told) {
  Waiting one{std::move(attempt), std::move(told)};
  Outcome outcome;
  {
    const std::lock_guard lock(mutex_);
    const auto now = clock_.steady();
    const bool full = waiting_.size() >= base::limits::kPasswordQueueMax;
    if (const auto wait = tries_.begin(one.attempt.name, one.attempt.address, now)) {
      outcome.verdict = Outcome::Verdict::kTooMany;
      outcome.wait = *wait;
    } else if (!ending_ && !full) {
      waiting_.push_back(std::move(one));
      changed_.notify_one();
      return;
    } else {
      const auto last = ending_ ? waiting_.end() : who_makes_room(one.attempt.address);
      if (last != waiting_.end()) {
        std::swap(one, *last);
        std::rotate(last, std::next(last), waiting_.end());
      }
      tries_.forgive(one.attempt.name, one.attempt.address, now);
    }
  }
  wipe(one.attempt.password);
  one.told(std::move(outcome));
}

void Gate::sign_out(std::string_view secret) {
  const std::lock_guard lock(mutex_);
  sign_ins_.end(secret);
}

void Gate::work() {
  nobodys_password();  // made before the first stranger comes, who would wait longer
  std::unique_lock lock(mutex_);
  while (true) {
    changed_.wait(lock, [this] { return ending_ || !waiting_.empty(); });
    if (waiting_.empty()) {
      return;
    }
    Waiting next = std::move(waiting_.front());
    waiting_.pop_front();
    const bool ending = ending_;
    lock.unlock();
    next.told(ending ? Outcome() : compare(std::move(next.attempt)));
    lock.lock();
  }
}

Gate::Outcome Gate::compare(Attempt attempt) {
  std::optional<Entry> entry;
  {
    const std::lock_guard lock(mutex_);
    const Entry* known = people_.find(attempt.name);
    if (known != nullptr && !known->system && !known->secret.empty()) {
      entry = *known;
    }
  }
  // A name that is nobody's takes as long as a wrong password.
  const bool right =
      is_password(entry ? entry->secret : nobodys_password(), attempt.password) && entry;
  wipe(attempt.password);
  Outcome outcome;
  outcome.verdict = Outcome::Verdict::kWrong;
  if (!right) {
    outcome.person = entry.value_or(Entry());
    return outcome;
  }
  outcome.verdict = Outcome::Verdict::kIn;
  outcome.secret = make_secret(random_);
  const std::lock_guard lock(mutex_);
  const auto now = clock_.steady();
  tries_.forgive(attempt.name, attempt.address, now);
  sign_ins_.add(outcome.secret, {entry->name, entry->secret}, now);
  outcome.person = std::move(*entry);
  return outcome;
}

}  // namespace engine::people
