#include "tests/simulation/world.h"

#include <algorithm>
#include <utility>

#include "engine/delivery/conflict.h"
#include "engine/journal/verify.h"
#include "tests/simulation/server.h"

namespace simulation {

using engine::base::Error;
using engine::base::ErrorCode;
using engine::base::Result;
using engine::delivery::Call;
using engine::delivery::Reply;
using engine::journal::Change;
using engine::journal::Leg;
using engine::journal::LegState;
using engine::journal::Outcome;

namespace {

// The network and disk take up to this long.
constexpr int kDelayMax = 40;

}  // namespace

class SimulatedLoop final : public engine::delivery::Loop {
 public:
  SimulatedLoop(World& world, std::shared_ptr<EngineLife> life)
      : world_(world), life_(std::move(life)) {}
  void post(std::function<void()> work) override { after(milliseconds(0), std::move(work)); }
  void after(milliseconds delay, std::function<void()> work) override {
    world_.time_.at(delay.count(), [life = life_, work = std::move(work)] {
      if (life->alive) {
        work();
      }
    });
  }

 private:
  World& world_;
  std::shared_ptr<EngineLife> life_;
};

class SimulatedAppender final : public engine::journal::Appender {
 public:
  SimulatedAppender(World& world, std::shared_ptr<EngineLife> life)
      : world_(world), life_(std::move(life)) {}

  bool submit(Change change, Done done) override {
    if (world_.chance_.one_in(world_.faults_.disk * 4)) {
      return false;  // the queue is full
    }
    queue_.push_back(std::make_pair(std::move(change), std::move(done)));
    if (queue_.size() == 1) {
      world_.time_.at(world_.chance_.below(kDelayMax), [this, life = life_] {
        if (life->alive) {
          write();
        }
      });
    }
    return true;
  }
  engine::journal::Store& store() const override { return *world_.store_; }

 private:
  // A group; an engine that dies here has written all of it or nothing, and told nobody.
  void write() {
    auto group = std::move(queue_);
    queue_.clear();
    std::vector<Change> batch;
    for (auto& [change, done] : group) {
      batch.push_back(std::move(change));
    }
    Result<std::vector<Outcome>> outcomes = Error(ErrorCode::kIo, "disk full");
    if (!world_.chance_.one_in(world_.faults_.disk)) {
      outcomes = world_.store_->commit(batch, world_.time_);
    }
    if (world_.chance_.one_in(world_.faults_.crash * 4)) {
      world_.time_.at(0, [world = &world_, life = life_] {
        if (life->alive) {
          world->crash();
        }
      });
      life_->alive = false;
      world_.time_.at(1 + world_.chance_.below(2'000), [world = &world_] { world->boot(); });
      return;
    }
    for (std::size_t i = 0; i < group.size(); ++i) {
      if (outcomes) {
        group[i].second((*outcomes)[i]);
      } else {
        group[i].second(outcomes.error());
      }
    }
  }

  World& world_;
  std::shared_ptr<EngineLife> life_;
  std::vector<std::pair<Change, Done>> queue_;
};

class SimulatedPeer final : public engine::delivery::Peer {
 public:
  SimulatedPeer(World& world, std::shared_ptr<EngineLife> life)
      : world_(world), life_(std::move(life)) {}
  void call(Call call, std::function<void(Reply)> done) override {
    World* const world = &world_;
    world_.time_.at(world_.chance_.below(kDelayMax), [world, life = life_, call, done] {
      world->server_->arrive(call, [world, life, done](Reply reply) {
        world->time_.at(world->chance_.below(kDelayMax), [life, done, reply = std::move(reply)] {
          if (life->alive) {
            done(reply);
          }
        });
      });
    });
  }

 private:
  World& world_;
  std::shared_ptr<EngineLife> life_;
};

class SimulatedWorkers final : public engine::intake::Workers {
 public:
  SimulatedWorkers(World& world, std::shared_ptr<EngineLife> life)
      : world_(world), life_(std::move(life)) {}
  // One at a time, in order, which the rule of equal keys allows.
  bool run(std::string_view, std::function<void()> task) override {
    world_.time_.at(1, [life = life_, task = std::move(task)] {
      if (life->alive) {
        task();
      }
    });
    return true;
  }

 private:
  World& world_;
  std::shared_ptr<EngineLife> life_;
};

class SimulatedRandom final : public engine::base::Random {
 public:
  explicit SimulatedRandom(Chance& chance) : chance_(chance) {}
  void fill(std::span<std::uint8_t> bytes) override {
    for (std::uint8_t& byte : bytes) {
      byte = static_cast<std::uint8_t>(chance_.next());
    }
  }

 private:
  Chance& chance_;
};

World::World(std::uint64_t seed, Faults faults) : chance_(seed), faults_(faults) {
  store_ = std::move(
      *engine::journal::open_sqlite_store({":memory:", engine::journal::OpenMode::kEngine}));
  // A third of the servers knows no versions; nobody but the engine writes to half of the others.
  // A third takes no transactions, a sixth none as large as a session.
  constexpr const char* kTakes[] = {"transaction", "batch",       "transaction",
                                    "create",      "transaction", "transaction"};
  server_ =
      std::make_unique<Server>(*this, Server::Manners{seed % 3 != 0, seed % 4 == 1 ? 409 : 412,
                                                      60'000, kTakes[seed / 7 % std::size(kTakes)],
                                                      seed / 7 % std::size(kTakes) == 5});
  core_ = std::make_unique<SummingCore>(!server_->takes_transactions());
  others_write_ = seed % 3 != 0 && seed % 2 == 0;
}

World::~World() = default;

void World::note(const std::string& what) {
  trace_ += std::to_string(time_.milliseconds_now()) + " " + what + "\n";
}

void World::boot() {
  note("boot");
  // The dead engine's objects go only now: nothing of them may run any more.
  courier_.reset();
  intake_.reset();
  life_ = std::make_shared<EngineLife>();
  appender_ = std::make_unique<SimulatedAppender>(*this, life_);
  loop_ = std::make_unique<SimulatedLoop>(*this, life_);
  peer_ = engine::delivery::make_fitting_peer(std::make_unique<SimulatedPeer>(*this, life_));
  random_ = std::make_unique<SimulatedRandom>(chance_);
  workers_ = std::make_unique<SimulatedWorkers>(*this, life_);
  std::vector<Change> start(1);
  start[0].record.kind = engine::journal::Kind::kStarted;
  static_cast<void>(store_->commit(start, time_));
  const engine::delivery::Courier::World delivery{*appender_, *peer_, *loop_, time_, *random_};
  courier_ = std::make_shared<engine::delivery::Courier>("main", delivery,
                                                         engine::delivery::CourierLimits{4, 0});
  const engine::intake::Intake::World intake{*appender_, *workers_, *workers_, key_, *core_};
  std::vector<engine::intake::Target> targets;
  targets.emplace_back("main", core_.get());
  intake_ = std::make_unique<engine::intake::Intake>(
      intake, std::move(targets), [this](const std::string&) { courier_->wake(); });
  const auto tick = std::make_shared<std::function<void()>>();
  *tick = [this, life = life_.get(), weak = std::weak_ptr(tick)] {
    if (life->alive) {
      intake_->sweep();
      courier_->wake();
      if (const auto again = weak.lock()) {
        loop_->after(milliseconds(1'000), [again] { (*again)(); });
      }
    }
  };
  loop_->post([tick] { (*tick)(); });
}

void World::crash() {
  note("crash");
  life_->alive = false;
  time_.at(1 + chance_.below(2'000), [this] { boot(); });
}

// A sender that does not give up: anything but an answer that settles it is sent again.
void World::send(std::size_t index) {
  if (!life_->alive) {
    time_.at(200, [this, index] { send(index); });
    return;
  }
  const auto answered = std::make_shared<bool>(false);
  intake_->accept({sent_[index].body, "", ""},
                  [this, index, answered](engine::intake::Answer answer) {
                    *answered = true;
                    note("answer " + sent_[index].id + "/" + std::to_string(sent_[index].revision) +
                         " " + std::to_string(answer.status));
                    if (answer.status == 503) {
                      time_.at(200 + chance_.below(500), [this, index] { send(index); });
                    } else if (answer.status == 200 || answer.status == 202) {
                      sent_[index].acknowledged = true;
                    }
                  });
  time_.at(3'000, [this, index, answered] {
    if (!*answered) {
      send(index);
    }
  });
  if (chance_.one_in(faults_.crash)) {
    const auto life = life_;
    time_.at(chance_.below(300), [this, life] {
      if (life->alive) {
        crash();
      }
    });
  }
  if (chance_.one_in(faults_.clock)) {
    time_.set_civil_time(chance_.below(2) == 0 ? -3'600'000 : 600'000);
  }
}

void World::plan(int sessions) {
  std::int64_t when = 0;
  for (int i = 0; i < sessions; ++i) {
    const std::string id = "s" + std::to_string(i);
    const std::string patient =
        chance_.one_in(8) ? "unknown" : "p" + std::to_string(chance_.below(3));
    const int revisions = 1 + chance_.below(3);
    for (int revision = 1; revision <= revisions; ++revision) {
      const bool unconfirmed = chance_.one_in(8);
      sent_.push_back({id, revision, patient,
                       engine::intake::document_of(id, revision, patient,
                                                   unconfirmed ? "unconfirmed-value" : "ready",
                                                   std::to_string(chance_.below(100)))});
    }
  }
  // Revisions of one session in order; sessions interleave.
  std::map<std::string, std::int64_t> last;
  for (std::size_t i = 0; i < sent_.size(); ++i) {
    when = std::max<std::int64_t>(chance_.below(20'000), last[sent_[i].id] + chance_.below(3'000));
    last[sent_[i].id] = when + 1;
    time_.at(when, [this, i] { send(i); });
  }
  for (int i = 0; others_write_ && i < 4; ++i) {
    time_.at(chance_.below(40'000), [this] { server_->edit_by_somebody(); });
  }
}

// What a person is shown who looks at a held one.
void World::look_at(const Leg& leg) {
  const auto text = store_->part(leg.changed, "conflict");
  const auto conflicts = engine::delivery::parse_conflicts(text ? *text : "[]");
  for (const auto& conflict : *conflicts) {
    server_->shown.insert(conflict.resource + (conflict.gone ? "" : " " + conflict.found));
  }
}

void World::release_held() {
  const auto held = store_->in_state(LegState::kHeld, 1'000);
  for (const Leg& leg : *held) {
    look_at(leg);
    Change change;
    change.record.kind = engine::journal::Kind::kReleased;
    change.record.session = leg.session;
    change.record.revision = leg.revision;
    change.record.target = leg.target;
    change.record.actor = "person";
    change.record.why = "looked at it";
    change.only_if = LegState::kHeld;
    std::vector<Change> batch;
    batch.push_back(std::move(change));
    static_cast<void>(store_->commit(batch, time_));
  }
}

bool World::settled() const {
  return store_->open_counts()->empty() &&
         std::all_of(sent_.begin(), sent_.end(), [this](const Sent& one) {
           return one.acknowledged ||
                  !store_->acceptances(engine::intake::session_id_of(one.id))->empty();
         });
}

std::vector<std::string> World::run(int sessions) {
  boot();
  plan(sessions);
  const std::int64_t faulty = 40'000;
  while (time_.step(faulty)) {
  }
  faults_ = Faults();
  note("calm");
  std::int64_t end = faulty;
  for (int round = 0; round < 200 && (round < 3 || !settled()); ++round) {
    end += 30'000;
    while (time_.step(end)) {
    }
    release_held();
  }
  return judge();
}

void World::judge_order(std::vector<std::string>& out) const {
  std::map<std::string, int> last;  // session -> highest revision committed so far
  for (const std::string& commit : server_->order) {
    const std::string id = commit.substr(0, commit.find('/'));
    const int revision = std::stoi(commit.substr(commit.find('/') + 1));
    if (last[id] > revision) {
      out.push_back(commit + " landed after a later revision of its session");
    }
    last[id] = std::max(last[id], revision);
  }
}

std::vector<std::string> World::judge() const {
  std::vector<std::string> out;
  for (const Sent& one : sent_) {
    const std::string name = one.id + "/" + std::to_string(one.revision);
    const std::string session = engine::intake::session_id_of(one.id);
    const auto legs = store_->legs(session);
    const auto leg = std::find_if(legs->begin(), legs->end(), [&](const Leg& candidate) {
      return candidate.revision == static_cast<std::uint32_t>(one.revision);
    });
    if (leg == legs->end()) {
      if (one.acknowledged) {
        out.push_back(name + " was acknowledged and is lost");
      }
      continue;
    }
    const bool created = server_->created.count(name) > 0;
    if (leg->state == LegState::kLanded && !created) {
      out.push_back(name + " is called landed and is not on the server");
    }
    if (leg->state == LegState::kSuperseded && created) {
      out.push_back(name + " is called superseded and is on the server");
    }
    if (leg->state != LegState::kLanded && leg->state != LegState::kSuperseded) {
      out.push_back(name + " is not settled: " + std::string(engine::journal::name_of(leg->state)));
    }
  }
  if (server_->trampled > 0) {
    out.push_back(std::to_string(server_->trampled) +
                  " changes by others were overwritten that nobody had been shown");
  }
  engine::journal::Query holds;
  holds.kind = engine::journal::Kind::kHeld;
  const auto held = store_->search(holds);
  const bool false_hold = std::any_of(held->begin(), held->end(), [](const auto& record) {
    return record.reason == "changed-elsewhere";
  });
  if (false_hold && server_->edits == 0) {
    out.push_back("a change by others is reported that never was");
  }
  if (server_->doubles > 0) {
    out.push_back(std::to_string(server_->doubles) + " resources came with different content");
  }
  judge_order(out);
  const auto verification = engine::journal::verify(*store_);
  for (const std::string& fault : verification->faults) {
    out.push_back("journal: " + fault);
  }
  const auto fold = store_->check_fold(10);
  for (const std::string& difference : *fold) {
    out.push_back("states: " + difference);
  }
  return out;
}

}  // namespace simulation
