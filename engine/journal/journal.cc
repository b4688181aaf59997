#include "engine/journal/journal.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <deque>
#include <future>
#include <iterator>
#include <mutex>
#include <span>
#include <thread>
#include <utility>

#include "engine/base/limits.h"
#include "engine/journal/seal.h"

namespace engine::journal {
struct Journal::State {
  struct Waiting {
    Change change;
    Done done;
    Waiting(Change c, Done d) : change(std::move(c)), done(std::move(d)) {}
  };

  State(Store& s, const base::Clock& c) : store(s), clock(c) {}
  void run();
  static std::vector<Waiting> writable(std::vector<Waiting> group);
  void write(std::vector<Waiting> waiting_ones);
  using Outcomes = std::vector<base::Result<Outcome>>;
  void commit(std::span<Waiting> group, Outcomes& out);
  void judge(const Outcomes& outcomes);
  void note(const base::Error* why);
  bool may_pass() const;

  Store& store;
  const base::Clock& clock;
  std::vector<Listener> listeners;
  std::function<void(const base::Error*)> told_of_failure;
  std::function<void(const base::Error&)> told_of_damage;
  std::mutex mutex;
  std::condition_variable changed;
  std::deque<Waiting> queue;
  bool stopping = false;
  std::atomic<bool> failing{false};
  mutable std::mutex failure_mutex;  // of what follows
  std::optional<base::Error> failure;
  std::thread thread;
};

void Journal::State::run() {
  while (true) {
    std::vector<Waiting> group;
    {
      std::unique_lock lock(mutex);
      const auto something = [this] { return stopping || !queue.empty(); };
      if (!may_pass()) {
        changed.wait(lock, something);
      } else if (!changed.wait_for(lock, base::limits::kJournalTryPause, something)) {
        lock.unlock();
        std::vector<Change> nothing;
        const auto tried = store.commit(nothing, clock);
        note(tried ? nullptr : &tried.error());
        continue;
      }
      if (queue.empty()) {
        return;
      }
      while (!queue.empty() && (group.size() < base::limits::kJournalGroupMax ||
                                queue.front().change.only_with_previous)) {
        group.push_back(std::move(queue.front()));
        queue.pop_front();
      }
    }
    write(std::move(group));
  }
}

// A trouble of the disk or the database, which is over without a word to the engine. Where nothing
// is sent to an engine that is not ready, nothing would ever be written that could tell.
bool Journal::State::may_pass() const {
  const std::lock_guard lock(failure_mutex);
  return failure && failure->code == base::ErrorCode::kIo;
}

void Journal::State::note(const base::Error* why) {
  const bool tell = why != nullptr || failing;
  {
    const std::lock_guard lock(failure_mutex);
    failure = why != nullptr ? std::optional<base::Error>(*why) : std::nullopt;
  }
  failing = why != nullptr;
  if (tell && told_of_failure) {
    told_of_failure(why);
  }
}

// Answers those that can never be written, so that they do not take the others of their commit with
// them. Those that only come together fail together.
std::vector<Journal::State::Waiting> Journal::State::writable(std::vector<Waiting> group) {
  std::vector<Waiting> good;
  good.reserve(group.size());
  for (auto from = group.begin(); from != group.end();) {
    const auto to = std::find_if(std::next(from), group.end(),
                                 [](const Waiting& one) { return !one.change.only_with_previous; });
    base::Result<void> fit;
    for (auto one = from; fit && one != to; ++one) {
      fit = check_writable(one->change.record, one->change.parts);
    }
    for (; from != to; ++from) {
      if (fit) {
        good.push_back(std::move(*from));
      } else if (from->done) {
        from->done(fit.error());
      }
    }
  }
  return good;
}

namespace {

// Where a group falls into two, near its middle: what only comes together stays so. 0: nowhere.
template <class Group>
std::size_t middle_of(const Group& group) {
  const auto begins = [&group](std::size_t at) { return !group[at].change.only_with_previous; };
  std::size_t at = group.size() / 2;
  while (at < group.size() && !begins(at)) {
    ++at;
  }
  if (at == group.size()) {
    for (at = group.size() / 2; at > 0 && !begins(at); --at) {
    }
  }
  return at;
}

// Whether the error says something of one change only.
bool is_of_one(const base::Error& error) {
  return is_of_the_change(error.code) || is_damaged_key(error);
}

}  // namespace

// In one commit. What is damaged is seldom all of the journal, but a commit is all or nothing: one
// patient's key would keep the changes of everybody from being written. So the halves are tried,
// each for itself. A disk that does not write would not write the halves either.
void Journal::State::commit(std::span<Waiting> group, Outcomes& out) {
  std::vector<Change> batch;
  batch.reserve(group.size());
  for (Waiting& waiting : group) {
    batch.push_back(std::move(waiting.change));
  }
  auto outcomes = store.commit(batch, clock);
  for (std::size_t i = 0; i < group.size(); ++i) {
    group[i].change = std::move(batch[i]);
  }
  if (outcomes) {
    std::move(outcomes->begin(), outcomes->end(), std::back_inserter(out));
    return;
  }
  const std::size_t middle = middle_of(group);
  if (middle == 0 || outcomes.error().code == base::ErrorCode::kIo) {
    out.insert(out.end(), group.size(), outcomes.error());
    return;
  }
  commit(group.first(middle), out);
  commit(group.subspan(middle), out);
}

// The journal is failing when nothing can be written, and well when something was.
void Journal::State::judge(const Outcomes& outcomes) {
  const base::Error* of_all = nullptr;
  bool any = false;
  for (const auto& outcome : outcomes) {
    any = any || outcome;
    of_all = !outcome && !is_of_one(outcome.error()) ? &outcome.error() : of_all;
  }
  if (any || of_all != nullptr) {
    note(any ? nullptr : of_all);
  }
  for (std::size_t i = 0; told_of_damage && (any || of_all == nullptr) && i < outcomes.size();
       ++i) {
    if (!outcomes[i] && !is_of_the_change(outcomes[i].error().code)) {
      told_of_damage(outcomes[i].error());
    }
  }
}

void Journal::State::write(std::vector<Waiting> waiting_ones) {
  std::vector<Waiting> group = writable(std::move(waiting_ones));
  if (group.empty()) {
    return;
  }
  Outcomes outcomes;
  outcomes.reserve(group.size());
  commit(group, outcomes);
  judge(outcomes);
  for (std::size_t i = 0; i < group.size(); ++i) {
    if (group[i].done) {
      group[i].done(outcomes[i]);
    }
  }
  std::vector<Outcome> written;
  for (auto& outcome : outcomes) {
    if (outcome) {
      written.push_back(std::move(*outcome));
    }
  }
  if (!written.empty()) {
    for (const Listener& listener : listeners) {
      listener(written);
    }
  }
}

Journal::Journal(Store& store, const base::Clock& clock)
    : store_(store), state_(std::make_unique<State>(store, clock)) {
  State* const state = state_.get();
  state->thread = std::thread([state] { state->run(); });
}

Journal::~Journal() {
  stop();
}

void Journal::add_listener(Listener listener) {
  state_->listeners.push_back(std::move(listener));
}

bool Journal::submit(Change change, Done done) {
  {
    const std::lock_guard lock(state_->mutex);
    if (state_->stopping || state_->queue.size() >= base::limits::kJournalQueueMax) {
      return false;
    }
    state_->queue.emplace_back(std::move(change), std::move(done));
  }
  state_->changed.notify_one();
  return true;
}

bool Journal::submit_together(std::vector<Change> changes, AllDone done) {
  const auto outcomes = std::make_shared<std::vector<Outcome>>();
  {
    const std::lock_guard lock(state_->mutex);
    if (state_->stopping ||
        state_->queue.size() + changes.size() > base::limits::kJournalQueueMax) {
      return false;
    }
    for (std::size_t i = 0; i < changes.size(); ++i) {
      const bool last = i + 1 == changes.size();
      state_->queue.emplace_back(std::move(changes[i]),
                                 [outcomes, done, last](base::Result<Outcome> outcome) {
                                   if (!outcome) {
                                     if (last) {
                                       done(std::move(outcome).error());
                                     }
                                     return;
                                   }
                                   outcomes->push_back(std::move(*outcome));
                                   if (last) {
                                     done(std::move(*outcomes));
                                   }
                                 });
    }
  }
  state_->changed.notify_one();
  return true;
}

base::Result<Outcome> Journal::write(Change change) {
  const auto promise = std::make_shared<std::promise<base::Result<Outcome>>>();
  std::future<base::Result<Outcome>> future = promise->get_future();
  if (!submit(std::move(change), [promise](base::Result<Outcome> outcome) {
        promise->set_value(std::move(outcome));
      })) {
    return base::Error(base::ErrorCode::kLimit, "the journal cannot keep up; try again later");
  }
  return future.get();
}

void Journal::stop() {
  {
    const std::lock_guard lock(state_->mutex);
    state_->stopping = true;
  }
  state_->changed.notify_one();
  if (state_->thread.joinable()) {
    state_->thread.join();
  }
}

void Journal::on_failure(std::function<void(const base::Error*)> told) {
  state_->told_of_failure = std::move(told);
}

void Journal::on_damage(std::function<void(const base::Error& what)> told) {
  state_->told_of_damage = std::move(told);
}

std::optional<base::Error> Journal::failure() const {
  const std::lock_guard lock(state_->failure_mutex);
  return state_->failure;
}

bool Journal::failing() const {
  return state_->failing;
}

}  // namespace engine::journal
