#pragma once
// Tells a sender's system what became of its sessions: a POST for every outcome in the journal, in
// order, one at a time, until it is answered with 2xx. Codes and ids only. How far it has come is a
// record of the journal, written now and then, so that a crash loses nothing and repeats a little:
// at least once, with the record's position as the event's id. Of several engines that share a
// journal one tells; when it goes, another goes on from that record. Lives on its loop.

#include <chrono>
#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/delivery/peer.h"
#include "engine/journal/journal.h"
#include "engine/journal/log_marks.h"

namespace engine::delivery {

class Notices : public std::enable_shared_from_this<Notices> {
 public:
  struct World {
    journal::Appender& journal;
    Peer& peer;  // the receiver; the notices go to its base
    Loop& loop;
    const base::Clock& clock;
    base::Random& random;
    // Whether this engine is the one that tells. Another may think so too, for a while.
    std::function<bool()> in_turn = [] { return true; };
  };
  explicit Notices(World world);

  // Before look(). The first time ever it begins with what comes, and writes that down. `write` is
  // for then. Errors: of the store, of `write`.
  base::Result<void> open(
      const std::function<base::Result<journal::Outcome>(journal::Change)>& write);
  // On the loop, now and then.
  void look();
  // Tells no more; waits for the answer that is under way and writes down how far it came. `done`
  // runs once that is durable or has failed.
  void stop(std::function<void()> done);

  // On the loop.
  bool in_turn() const { return in_turn_; }  // this engine is the one that tells
  journal::Position through() const { return through_; }
  std::uint32_t failures() const { return failures_; }  // since the receiver last took one

 private:
  bool is_same();
  bool take_turn();
  bool is_placed();
  base::Result<bool> go_on_from_journal();
  void tell();
  void answered(const journal::Record& record, const Reply& reply);
  void note();
  void end();
  journal::Change note_change() const;

  World world_;
  std::deque<journal::Record> events_;
  journal::Position through_ = 0;          // told, or nothing to tell
  journal::Position looked_ = 0;           // read from the journal
  journal::Position noted_ = 0;            // as the journal says
  journal::LogMarks marks_;                // of what is read
  std::optional<journal::Position> same_;  // to begin again from
  bool in_turn_ = false;
  bool told_since_ = false;
  bool telling_ = false;
  bool noting_ = false;
  bool stopping_ = false;
  std::function<void()> ended_;
  std::uint32_t failures_ = 0;
  std::chrono::steady_clock::time_point not_before_;
  std::chrono::steady_clock::time_point note_after_;
};

// The body: {"event","time","session","revision","target","state","reason"?}. `state` as GET
// /sessions/{id} tells it at that moment.
std::string notice_text(const journal::Store& store, const journal::Record& record);

}  // namespace engine::delivery
