#include "engine/delivery/courier.h"

#include <algorithm>
#include <utility>
#include <vector>

#include "engine/delivery/back_off.h"
#include "engine/journal/failure.h"
#include "engine/journal/stored.h"

namespace engine::delivery {

using journal::Change;
using journal::Kind;
using journal::Leg;
using journal::LegState;
using journal::Record;
using std::chrono::milliseconds;

namespace {

Record record_about(const Leg& leg, Kind kind) {
  Record record;
  record.kind = kind;
  record.session = leg.session;
  record.revision = leg.revision;
  record.target = leg.target;
  record.patient = leg.patient;
  return record;
}

// Whether it was an answer of somebody who would take a message. A server need not have that
// resource, or may show it to others only: that says something only where the messages were
// answered likewise.
bool is_alive(const Reply& reply, const std::string& paused_for) {
  if (reply.fate != Reply::Fate::kAnswered || reply.status >= 500 || reply.status == 429) {
    return false;
  }
  return !(reply.status == 401 && paused_for == "sign-in-refused") &&
         !(reply.status == 404 && paused_for == "endpoint-unknown");
}

}  // namespace

Courier::Courier(std::string target, World world, CourierLimits limits)
    : target_(std::move(target)),
      world_(std::move(world)),
      limits_(limits),
      start_civil_ms_(civil_ms()),
      start_steady_(world_.clock.steady()),
      pace_(limits.requests_per_second) {}

std::int64_t Courier::civil_ms() const {
  return std::chrono::duration_cast<milliseconds>(world_.clock.now().time_since_epoch()).count();
}

std::int64_t Courier::now_ms() const {
  return start_civil_ms_ +
         std::chrono::duration_cast<milliseconds>(world_.clock.steady() - start_steady_).count();
}

std::function<void()> Courier::later(std::function<void(Courier&)> work) {
  return [weak = weak_from_this(), work = std::move(work)] {
    if (const auto self = weak.lock()) {
      work(*self);
    }
  };
}

void Courier::wake() {
  world_.loop.post(later([](Courier& self) { self.pump(); }));
}

void Courier::stop(std::function<void()> idle) {
  world_.loop.post(later([idle = std::move(idle)](Courier& self) mutable {
    self.stopping_ = true;
    if (self.legs_.empty()) {
      idle();
    } else {
      self.idle_ = std::move(idle);
    }
  }));
}

void Courier::set_shut(bool shut) {
  if (shut_ && !shut) {
    wake();
  }
  shut_ = shut;
}

// A timer that looks again; due times are found by looking, so that one timer serves all of them.
void Courier::arm() {
  if (look_at_ms_ != 0 || stopping_) {
    return;
  }
  milliseconds delay = base::limits::kTick;
  if (paused_until_ms_ > now_ms()) {
    delay = std::min(delay, milliseconds(paused_until_ms_ - now_ms()));
  } else if (const auto next = world_.journal.store().next_due(target_); !next) {
    unread_ = next.error();
  } else if (next->has_value()) {
    // A leg that is due but stands behind another is moved on by that other one's end.
    const std::int64_t wait = **next - now_ms();
    delay = wait > 0 ? std::min(delay, milliseconds(wait)) : delay;
  }
  look_again(delay);
}

// Unless a timer looks before that anyway. A later one that is overtaken does nothing.
void Courier::look_again(milliseconds delay) {
  const std::int64_t at = now_ms() + delay.count();
  if (stopping_ || (look_at_ms_ != 0 && look_at_ms_ <= at)) {
    return;
  }
  look_at_ms_ = at;
  world_.loop.after(delay, later([at](Courier& self) {
                      if (self.look_at_ms_ == at) {
                        self.look_at_ms_ = 0;
                        self.pump();
                      }
                    }));
}

void Courier::pump() {
  if (stopping_ || shut_) {
    return;
  }
  if (paused_until_ms_ > now_ms() || probing_ || !world_.may_send()) {
    arm();
    return;
  }
  const milliseconds pace = pace_.wait(world_.clock.steady());
  if (pace.count() > 0) {
    look_again(pace);
    return;
  }
  if (!evidence_ && health_.tries > 0) {
    probe();
    return;
  }
  if (legs_.size() < limits_.in_flight_max) {
    // No more than can be sent, and those that the journal does not know to be on their way: asked
    // for more patients than have something to send, it looks at all that waits.
    const std::size_t wanted = limits_.in_flight_max - legs_.size() + undecided_;
    const auto due = world_.journal.store().due(target_, now_ms(), wanted);
    unread_ = due ? std::nullopt : std::optional<base::Error>(due.error());
    for (const Leg& leg : due ? *due : std::vector<Leg>()) {
      if (legs_.count({leg.session, leg.revision}) > 0) {
        continue;
      }
      const bool patient_busy = !leg.patient.empty() && patients_.count(leg.patient) > 0;
      passed_over_ = passed_over_ || patient_busy;
      if (legs_.size() < limits_.in_flight_max && !patient_busy) {
        if (const milliseconds wait = pace_.wait(world_.clock.steady()); wait.count() > 0) {
          look_again(wait);
          return;
        }
        if (!asked_ && !world_.peer.is_known()) {
          get_to_know();
          return;
        }
        dispatch(leg);
      }
    }
  }
  arm();
  world_.looked(unread_ ? &*unread_ : nullptr);
}

// Asks for the CapabilityStatement, so that no message is spent on finding out whether anybody is
// there.
void Courier::probe() {
  probing_ = true;
  pace_.spend(world_.clock.steady());
  Call call("GET", "/metadata", "", "");
  world_.peer.call(std::move(call), [weak = weak_from_this()](Reply reply) {
    const auto self = weak.lock();
    if (!self) {
      return;
    }
    self->probing_ = false;
    if (is_alive(reply, self->health_.reason)) {
      self->evidence_ = true;
      self->health_.paused = false;
      self->pump();
    } else {
      self->pause(self->health_.reason, retry_after(reply, self->civil_ms()));
      self->arm();
    }
  });
}

// How a message goes is in the journal before it leaves: whether some of it can be there without
// the rest.
void Courier::get_to_know() {
  probing_ = true;
  pace_.spend(world_.clock.steady());
  world_.peer.call(Call("GET", "/metadata", "", ""), [weak = weak_from_this()](const Reply&) {
    if (const auto self = weak.lock()) {
      self->probing_ = false;
      self->asked_ = true;
      self->pump();
    }
  });
}

void Courier::dispatch(Leg leg) {
  pace_.spend(world_.clock.steady());
  legs_.insert({leg.session, leg.revision});
  if (!leg.patient.empty()) {
    patients_.insert(leg.patient);
  }
  Change change(record_about(leg, Kind::kDispatched));
  change.record.attempt = leg.attempts + 1;
  change.record.reason = world_.peer.lands_whole() ? "" : kInSteps;
  change.record.actor = world_.journal.store().engine();
  change.only_if = leg.state;
  change.only_if_changed = leg.changed;
  change.only_if_first = true;
  ++undecided_;
  const bool taken = world_.journal.submit(
      std::move(change), [weak = weak_from_this(), leg](base::Result<journal::Outcome> outcome) {
        const auto self = weak.lock();
        if (!self) {
          return;
        }
        const bool failing = !outcome;
        const bool written = !failing && outcome->verdict == journal::Outcome::Verdict::kWritten;
        Leg sent = leg;
        sent.changed = written ? outcome->position : leg.changed;
        self->world_.loop.post(self->later([sent, leg, failing, written](Courier& courier) {
          --courier.undecided_;
          if (failing) {
            courier.put_back(leg);
          } else if (courier.stopping_) {
            courier.finished(leg);
          } else if (written) {
            courier.send(sent);
            courier.look_past();
          } else {
            courier.not_now(leg);
          }
        }));
      });
  if (!taken) {
    --undecided_;
    put_back(leg);
  }
}

// Several held ones of a patient can be due at once, and take up all that a look brings. As soon as
// the journal knows one of them to be on its way it leaves the others out.
void Courier::look_past() {
  if (std::exchange(passed_over_, false) && legs_.size() < limits_.in_flight_max) {
    pump();
  }
}

// Another engine was faster. What is seen as due and still may not go, for whatever reason, must
// not be tried again without pause.
void Courier::not_now(const Leg& leg) {
  legs_.erase({leg.session, leg.revision});
  patients_.erase(leg.patient);
  look_again(base::limits::kLostAttemptPause);
}

// The journal cannot take anything just now; nothing was sent.
void Courier::put_back(const Leg& leg) {
  legs_.erase({leg.session, leg.revision});
  patients_.erase(leg.patient);
  paused_until_ms_ = std::max(paused_until_ms_, now_ms() + base::limits::kTick.count());
  if (stopping_) {
    finished(leg);
  } else {
    arm();
  }
}

void Courier::send(Leg leg) {
  auto consignment = load_consignment(world_.journal.store(), leg);
  if (!consignment) {
    // A database that is away comes back, and a key is given; what is read and makes no sense stays
    // so.
    const bool away = consignment.error().code == base::ErrorCode::kIo;
    const bool shut = journal::is_for_want_of_a_key(world_.journal.store(), consignment.error());
    Change change(record_about(leg, away || shut ? Kind::kAnswered : Kind::kHeld));
    const auto by = world_.journal.store().destroyed_by(leg.bundle, "bundle");
    const bool destroyed = by && by->has_value();
    change.record.reason = away || shut ? "bundle-not-read"
                           : destroyed  ? "bundle-destroyed"
                                        : "bundle-unreadable";
    if (away || shut) {
      const milliseconds pause =
          doubled(base::limits::kBackOffBase, leg.attempts, base::limits::kBackOffCap);
      change.record.due_ms = now_ms() + (away ? base::limits::kTick : pause).count();
    }
    write(std::move(leg), std::move(change));
    return;
  }
  consignment->refused = too_large_;
  start_exchange({world_.peer, world_.clock, weak_from_this()}, std::move(*consignment),
                 [weak = weak_from_this(), leg](Conclusion conclusion) {
                   if (const auto self = weak.lock()) {
                     self->concluded(leg, std::move(conclusion));
                   }
                 });
}

void Courier::concluded(Leg leg, Conclusion conclusion) {
  if (conclusion.refused) {
    too_large_.note(*conclusion.refused);
  }
  Change change(outcome_of(leg, conclusion.verdict, conclusion.status));
  if (change.record.kind == Kind::kLanded) {
    change.record.reason = conclusion.reason;
  }
  change.nothing_there = conclusion.nothing_there;
  for (const journal::Part& part : conclusion.parts) {
    change.parts.push_back(journal::to_stored(part));
  }
  write(std::move(leg), std::move(change));
}

Record Courier::outcome_of(const Leg& leg, const Verdict& verdict, int status) {
  using Action = Verdict::Action;
  Record record = record_about(leg, Kind::kHeld);
  record.reason = verdict.reason;
  record.status = status;
  record.attempt = leg.attempts + 1;
  record.unknown = verdict.unknown;
  const bool landed = verdict.action == Action::kLanded && verdict.reason != kNothingToSend;
  const bool well = landed || verdict.action == Action::kHold ||
                    verdict.action == Action::kHoldRetry ||
                    (verdict.action == Action::kInPieces && status != 0);
  if (well) {
    evidence_ = true;
    health_ = Health();
  }
  switch (verdict.action) {
    case Action::kLanded:
      record.kind = Kind::kLanded;
      break;
    case Action::kHold:
      break;
    case Action::kHoldRetry:
      record.due_ms =
          now_ms() +
          doubled(base::limits::kHeldPause, leg.failures, base::limits::kHeldPauseCap).count();
      record.counted = true;
      break;
    case Action::kInPieces:
      record.kind = Kind::kAnswered;
      record.due_ms = now_ms();
      break;
    case Action::kRetry: {
      record.counted = evidence_ || health_.tries == 0;
      failed();
      if (record.counted && leg.failures + 1 >= base::limits::kCountedTriesMax) {
        const std::uint32_t rounds = leg.failures + 1 - base::limits::kCountedTriesMax;
        record.due_ms =
            now_ms() +
            doubled(base::limits::kHeldPause, rounds, base::limits::kHeldPauseCap).count();
        break;
      }
      record.kind = Kind::kAnswered;
      const milliseconds most =
          doubled(base::limits::kBackOffBase, leg.failures, base::limits::kBackOffCap);
      record.due_ms =
          now_ms() + (verdict.retry_after + full_jitter(most, world_.random)).count() + 1;
      break;
    }
    case Action::kPauseTarget:
      record.kind = Kind::kAnswered;
      pause(verdict.reason, verdict.retry_after);
      record.due_ms = now_ms();
      break;
  }
  return record;
}

void Courier::failed() {
  evidence_ = false;
  health_.tries = std::max<std::uint32_t>(health_.tries, 1);
}

void Courier::pause(const std::string& reason, milliseconds at_least) {
  const milliseconds most =
      doubled(base::limits::kBackOffBase, health_.tries, base::limits::kBackOffCap);
  // Jitter lengthens what the server asked for and never shortens it.
  const milliseconds wait = at_least + full_jitter(most, world_.random);
  paused_until_ms_ = std::max(paused_until_ms_, now_ms() + wait.count());
  evidence_ = false;
  health_.paused = true;
  health_.reason = reason;
  ++health_.tries;
}

// Tries until it is written: what the target answered must not be forgotten while the engine runs.
// Only about the send that it ends: a first try may have been written although it seemed to fail,
// and another engine takes over what this one was silent about for too long.
void Courier::write(Leg leg, Change change) {
  change.only_if = LegState::kDispatched;
  change.only_if_changed = leg.changed;
  const bool taken = world_.journal.submit(
      change,
      [weak = weak_from_this(), leg, change](const base::Result<journal::Outcome>& outcome) {
        const auto self = weak.lock();
        if (!self) {
          return;
        }
        if (outcome) {
          self->world_.loop.post(self->later([leg](Courier& courier) { courier.finished(leg); }));
          return;
        }
        self->world_.loop.post(self->later([leg, change](Courier& courier) {
          courier.world_.loop.after(
              base::limits::kTick,
              courier.later([leg, change](Courier& again) { again.write(leg, change); }));
        }));
      });
  if (!taken) {
    world_.loop.after(base::limits::kTick,
                      later([leg, change](Courier& again) { again.write(leg, change); }));
  }
}

void Courier::finished(const Leg& leg) {
  legs_.erase({leg.session, leg.revision});
  patients_.erase(leg.patient);
  if (stopping_) {
    if (legs_.empty() && idle_) {
      std::exchange(idle_, {})();
    }
    return;
  }
  pump();
}

}  // namespace engine::delivery
