#include "engine/delivery/notices.h"

#include <algorithm>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/delivery/back_off.h"
#include "engine/delivery/verdict.h"
#include "engine/json/write.h"

namespace engine::delivery {

using journal::Change;
using journal::Kind;
using journal::Record;
using std::chrono::milliseconds;

namespace {

bool is_outcome(const Record& record) {
  return record.kind == Kind::kLanded || record.kind == Kind::kHeld ||
         record.kind == Kind::kWithdrawn;
}

std::string_view state_of(const journal::Store& store, const Record& record) {
  const auto legs = store.legs(record.session);
  for (const journal::Leg& leg : legs ? *legs : std::vector<journal::Leg>()) {
    if (leg.changed == record.position && leg.revision == record.revision &&
        leg.target == record.target) {
      return journal::name_of(leg.state);
    }
  }
  return journal::name_of(record.kind);
}

}  // namespace

std::string notice_text(const journal::Store& store, const Record& record) {
  std::string out = "{\"event\":" + std::to_string(record.position);
  const auto text = [&out](const char* name, std::string_view value) {
    out.append(",\"").append(name).append("\":");
    json::write_string(value, out);
  };
  text("time", record.time);
  text("session", record.session);
  out += ",\"revision\":" + std::to_string(record.revision);
  text("target", record.target);
  text("state", state_of(store, record));
  if (!record.reason.empty()) {
    text("reason", record.reason);
  }
  return out + "}";
}

Notices::Notices(World world)
    : world_(world),
      not_before_(world.clock.steady()),
      note_after_(world.clock.steady() + base::limits::kNoticePause) {}

// False when the journal says nothing of it yet.
base::Result<bool> Notices::go_on_from_journal() {
  const auto noted = world_.journal.store().newest(Kind::kNoticed);
  if (!noted) {
    return noted.error();
  }
  if (!noted->has_value()) {
    return false;
  }
  looked_ = noted_ = through_ = (*noted)->through;
  return true;
}

base::Result<void> Notices::open(
    const std::function<base::Result<journal::Outcome>(Change)>& write) {
  const auto begun = go_on_from_journal();
  if (!begun) {
    return begun.error();
  }
  if (*begun) {
    return {};
  }
  const auto end = world_.journal.store().size();
  if (!end) {
    return end.error();
  }
  looked_ = noted_ = through_ = *end;
  if (auto written = write(note_change()); !written) {
    return std::move(written).error();
  }
  return {};
}

// A turn begins where the journal says that the last one ended; what the engine before did not get
// to write down is told twice.
bool Notices::take_turn() {
  const bool mine = world_.in_turn();
  if (mine == in_turn_ || telling_ || noting_) {
    return mine && in_turn_;
  }
  if (!mine) {
    if (through_ != noted_) {
      note();
    }
    events_.clear();
    failures_ = 0;
  }
  // Where it goes on may be newer than the last mark.
  in_turn_ = mine && go_on_from_journal().has_value() && is_same() && is_placed();
  return in_turn_;
}

// Asked before anything is read, so that what is read lies before a mark: a journal that took over
// and lacks what was read behind its last mark would look like one that only grew. False when it
// does not answer.
bool Notices::is_same() {
  const auto same = marks_.look(world_.journal.store());
  if (same && same->has_value()) {
    same_ = std::min(**same, same_.value_or(**same));
  }
  return same.has_value();
}

// False while it has to begin again and cannot yet.
bool Notices::is_placed() {
  if (!same_ || telling_ || noting_) {
    return !same_;
  }
  const auto begun = go_on_from_journal();
  if (!begun) {
    return false;
  }
  // What was written down since may tell of outcomes that are lost: it is written again.
  if (through_ > *same_ || !*begun) {
    looked_ = through_ = std::min(through_, *same_);
    noted_ = *begun ? noted_ : through_;
    told_since_ = true;
  }
  events_.clear();
  same_.reset();
  return true;
}

void Notices::look() {
  if (stopping_ || !is_same() || !is_placed() || !take_turn()) {
    return;
  }
  if (events_.empty()) {
    journal::Query query;
    query.after = looked_;
    query.limit = base::limits::kNoticeLook;
    const auto records = world_.journal.store().search(query);
    for (const Record& record : records ? *records : std::vector<Record>()) {
      if (record.position > marks_.end()) {
        break;
      }
      looked_ = record.position;
      if (is_outcome(record)) {
        events_.push_back(record);
      }
    }
    through_ = events_.empty() ? looked_ : through_;
  }
  // Its own records move the end of the journal, and are no reason to write another.
  const bool far = through_ >= noted_ + base::limits::kNoticeLook;
  if ((told_since_ || far) && world_.clock.steady() >= note_after_) {
    note();
  }
  tell();
}

void Notices::tell() {
  if (telling_ || stopping_ || events_.empty() || world_.clock.steady() < not_before_) {
    return;
  }
  telling_ = true;
  Record record = events_.front();
  Call call("POST", "", notice_text(world_.journal.store(), record),
            "notice." + std::to_string(record.position));
  world_.peer.call(std::move(call),
                   [weak = weak_from_this(), record = std::move(record)](const Reply& reply) {
                     if (const auto self = weak.lock()) {
                       self->answered(record, reply);
                     }
                   });
}

void Notices::answered(const Record& record, const Reply& reply) {
  telling_ = false;
  const bool taken =
      reply.fate == Reply::Fate::kAnswered && reply.status >= 200 && reply.status < 300;
  if (!taken) {
    const milliseconds most =
        doubled(base::limits::kBackOffBase, failures_, base::limits::kBackOffCap);
    const auto civil =
        std::chrono::duration_cast<milliseconds>(world_.clock.now().time_since_epoch());
    const milliseconds asked = retry_after(reply, civil.count());
    not_before_ = world_.clock.steady() + asked + full_jitter(most, world_.random);
    ++failures_;  // look() comes by again
    if (stopping_) {
      end();
    }
    return;
  }
  failures_ = 0;
  told_since_ = true;
  events_.pop_front();
  // What lies between this one and the next has nothing to tell.
  through_ = events_.empty() ? looked_ : record.position;
  if (stopping_) {
    end();
  } else {
    look();
  }
}

Change Notices::note_change() const {
  Change change;
  change.record.kind = Kind::kNoticed;
  change.record.through = through_;
  return change;
}

void Notices::note() {
  if (noting_) {
    return;
  }
  noting_ = true;
  note_after_ = world_.clock.steady() + base::limits::kNoticePause;
  const journal::Position at = through_;
  told_since_ = false;
  const auto written = [weak = weak_from_this(), at](bool good) {
    if (const auto self = weak.lock()) {
      self->noting_ = false;
      self->noted_ = good ? at : self->noted_;
      self->told_since_ = self->told_since_ || !good;
    }
  };
  const bool taken = world_.journal.submit(
      note_change(), [loop = &world_.loop, written](const base::Result<journal::Outcome>& outcome) {
        loop->post([written, good = outcome.has_value()] { written(good); });
      });
  if (!taken) {
    written(false);
  }
}

void Notices::stop(std::function<void()> done) {
  world_.loop.post([weak = weak_from_this(), done = std::move(done)] {
    const auto self = weak.lock();
    if (!self) {
      return;
    }
    self->stopping_ = true;
    self->ended_ = done;
    if (!self->telling_) {
      self->end();
    }
  });
}

void Notices::end() {
  const std::function<void()> done = std::exchange(ended_, {});
  if (!in_turn_ || through_ == noted_ ||
      !world_.journal.submit(note_change(),
                             [done](const base::Result<journal::Outcome>&) { done(); })) {
    done();
  }
}

}  // namespace engine::delivery
