#pragma once
// The journal of a running engine: changes from any thread, written by one thread of its own in
// groups, so that one flush of the disk serves all that came in while the last one ran. A change is
// durable when its `done` is called, never before. Reads go to store().

#include <cstddef>
#include <functional>
#include <memory>
#include <optional>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/journal/store.h"

namespace engine::journal {

// Whether a failed change can never be written, while others can.
inline bool is_of_the_change(base::ErrorCode code) {
  return code == base::ErrorCode::kInvalid || code == base::ErrorCode::kLimit;
}

// Takes changes to be made durable. The seam that simulations fill with a single-threaded twin.
class Appender {
 public:
  // Runs on the writer's thread and must be quick.
  using Done = std::function<void(base::Result<Outcome>)>;
  virtual ~Appender() = default;
  // False when limits::kJournalQueueMax changes wait already: nothing was taken, try later. A
  // change that can never be written (see check_writable) fails alone, and so does one that
  // something damaged stands against, such as its patient's data key.
  virtual bool submit(Change change, Done done) = 0;
  virtual Store& store() const = 0;
};

class Journal final : public Appender {
 public:
  // Called after each commit with what was written.
  using Listener = std::function<void(const std::vector<Outcome>&)>;

  // Both must outlive the journal.
  Journal(Store& store, const base::Clock& clock);
  ~Journal() override;
  Journal(const Journal&) = delete;
  Journal& operator=(const Journal&) = delete;

  // Before the first submit.
  void add_listener(Listener listener);
  bool submit(Change change, Done done) override;
  // Changes that go into one commit, so that those that are only_with_previous follow theirs.
  // `done` gets all outcomes.
  using AllDone = std::function<void(base::Result<std::vector<Outcome>>)>;
  bool submit_together(std::vector<Change> changes, AllDone done);
  // submit() and wait. For commands and start-up. kLimit when the queue is full.
  base::Result<Outcome> write(Change change);
  // Writes what waits, then ends the thread.
  void stop();
  // The last commit failed (disk full ...), and so did each try since; not for its own content, nor
  // for something damaged that only some changes meet.
  bool failing() const;
  // Why it did; nullopt when it went well.
  std::optional<base::Error> failure() const;
  // Before the first submit. Runs on the writer's thread after each commit that failed, with why,
  // and with nullptr after the first one that goes well again.
  void on_failure(std::function<void(const base::Error* why)> told);
  // Likewise, of each change that could not be written for something damaged, while the journal is
  // not failing.
  void on_damage(std::function<void(const base::Error& what)> told);

  Store& store() const override { return store_; }

 private:
  struct State;
  Store& store_;
  std::unique_ptr<State> state_;
};

}  // namespace engine::journal
