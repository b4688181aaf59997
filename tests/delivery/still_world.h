#pragma once
// A world for couriers that stands still until told: virtual time, a journal in memory that writes
// at once, a record server that answers from a script. One thread; everything happens in run().

#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "engine/delivery/courier.h"
#include "engine/journal/sqlite_store.h"
#include "engine/journal/stored.h"

namespace engine::delivery {

class StillClock final : public base::Clock {
 public:
  std::chrono::system_clock::time_point now() const override {
    return std::chrono::system_clock::time_point(std::chrono::milliseconds(1'800'000'000'000 + ms));
  }
  std::chrono::steady_clock::time_point steady() const override {
    return std::chrono::steady_clock::time_point(std::chrono::milliseconds(ms));
  }
  std::int64_t ms = 0;
};

class StillLoop final : public Loop {
 public:
  explicit StillLoop(StillClock& clock) : clock_(clock) {}
  void post(std::function<void()> work) override { after({}, std::move(work)); }
  void after(std::chrono::milliseconds delay, std::function<void()> work) override {
    events_.emplace(std::pair(clock_.ms + delay.count(), ++count_), std::move(work));
  }
  // Everything up to and at this time.
  void run_until(std::int64_t ms) {
    while (!events_.empty() && events_.begin()->first.first <= ms) {
      auto event = events_.extract(events_.begin());
      clock_.ms = event.key().first;
      event.mapped()();
    }
    clock_.ms = ms;
  }

 private:
  StillClock& clock_;
  std::uint64_t count_ = 0;
  std::map<std::pair<std::int64_t, std::uint64_t>, std::function<void()>> events_;
};

// Writes when the loop comes to it, so that a submit and its outcome are two events as in life.
class StillAppender final : public journal::Appender {
 public:
  StillAppender(journal::Store& store, StillLoop& loop, const base::Clock& clock)
      : store_(store), loop_(loop), clock_(clock) {}
  bool submit(journal::Change change, Done done) override {
    if (full) {
      return false;
    }
    loop_.post([this, change = std::move(change), done = std::move(done)] {
      std::vector<journal::Change> batch{change};
      if (failing) {
        done(base::Error(base::ErrorCode::kIo, "the disk is full"));
        return;
      }
      const auto outcomes = store_.commit(batch, clock_);
      if (outcomes) {
        if (wrote) {
          wrote(*outcomes);
        }
        done(outcomes->front());
      } else {
        done(outcomes.error());
      }
    });
    return true;
  }
  journal::Store& store() const override { return store_; }
  std::function<void(const std::vector<journal::Outcome>&)> wrote;
  bool full = false;
  bool failing = false;

 private:
  journal::Store& store_;
  StillLoop& loop_;
  const base::Clock& clock_;
};

// Each request takes `takes_ms`; `answer` says what comes back.
class StillPeer final : public Peer {
 public:
  StillPeer(StillLoop& loop, StillClock& clock) : loop_(loop), clock_(clock) {}
  void call(Call call, std::function<void(Reply)> done) override {
    asked.emplace_back(clock_.ms, call.method);
    ++in_flight;
    most_in_flight = std::max(most_in_flight, in_flight);
    loop_.after(std::chrono::milliseconds(takes_ms),
                [this, call = std::move(call), done = std::move(done)] {
                  --in_flight;
                  done(answer(call));
                });
  }
  static Reply status(int code) {
    Reply reply;
    reply.status = code;
    return reply;
  }
  static Reply landed(const Call& call) {
    Reply reply = status(200);
    reply.body = R"({"resourceType":"Bundle","type":"transaction-response","entry":[)";
    for (std::size_t i = 0; i < count_entries(call.body); ++i) {
      reply.body += i > 0 ? "," : "";
      reply.body += R"({"response":{"status":"201 Created","location":"Observation/1"}})";
    }
    reply.body += "]}";
    return reply;
  }
  std::function<Reply(const Call&)> answer = [](const Call& call) {
    return call.method == "GET" ? status(200) : landed(call);
  };
  std::int64_t takes_ms = 5;
  std::vector<std::pair<std::int64_t, std::string>> asked;  // when, method
  int in_flight = 0;
  int most_in_flight = 0;

 private:
  StillLoop& loop_;
  StillClock& clock_;
};

class StillRandom final : public base::Random {
 public:
  void fill(std::span<std::uint8_t> bytes) override {
    std::fill(bytes.begin(), bytes.end(), std::uint8_t{0});
  }
};

struct StillWorld {
  // A checked revision of a session of its own, of a patient of its own unless one is named.
  void add(const std::string& session, const std::string& target = "main",
           const std::string& patient = "") {
    journal::Record accepted;
    accepted.kind = journal::Kind::kAccepted;
    accepted.session = session;
    accepted.revision = 1;
    accepted.targets = target;
    accepted.patient = patient.empty() ? "p-" + session : patient;
    accepted.content = "c-" + session;
    write(journal::Change(accepted));
    journal::Record checked;
    checked.kind = journal::Kind::kChecked;
    checked.session = session;
    checked.revision = 1;
    checked.target = target;
    checked.patient = accepted.patient;
    journal::Change change(checked);
    change.parts.push_back(journal::to_stored(journal::Part(
        "bundle",
        R"({"resourceType":"Bundle","type":"transaction","entry":[{"fullUrl":"urn:1","resource":{}}]})")));
    write(std::move(change));
  }
  journal::Outcome write(journal::Change change) {
    std::vector<journal::Change> batch;
    batch.push_back(std::move(change));
    return std::move((*store->commit(batch, clock))[0]);
  }
  // "dispatched landed paused ...": the journal from a position on, by its kinds.
  std::string kinds(journal::Position after = 0) const {
    journal::Query query;
    query.after = after;
    query.limit = 10'000;
    std::string out;
    const auto records = store->search(query);
    for (const journal::Record& record : *records) {
      out += (out.empty() ? "" : " ") + std::string(journal::name_of(record.kind));
    }
    return out;
  }
  std::size_t count(journal::Kind kind, journal::Position after = 0) const {
    journal::Query query;
    query.kind = kind;
    query.after = after;
    query.limit = 10'000;
    return store->search(query)->size();
  }
  std::shared_ptr<Courier> courier(CourierLimits limits = {}, const std::string& target = "main") {
    return std::make_shared<Courier>(target, Courier::World{appender, peer, loop, clock, random},
                                     limits);
  }

  StillClock clock;
  StillLoop loop{clock};
  std::unique_ptr<journal::Store> store =
      std::move(*journal::open_sqlite_store({":memory:", journal::OpenMode::kEngine}));
  StillAppender appender{*store, loop, clock};
  StillPeer peer{loop, clock};
  StillRandom random;
};

}  // namespace engine::delivery
