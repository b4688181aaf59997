#pragma once
// The journal of a running engine: changes from any thread, written by one thread of its own in
// groups, so that one flush of the disk serves all that came in while the last one ran. A change is
// durable when its `done` is called, never before. Reads go to store().

#include <cstddef>
#include <functional>
#include <memory>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/journal/store.h"

namespace engine::journal {

class Journal {
 public:
  // Runs on the writer's thread and must be quick. Not called for changes that stop() left
  // unwritten.
  using Done = std::function<void(base::Result<Outcome>)>;
  // Called after each commit with what was written.
  using Listener = std::function<void(const std::vector<Outcome>&)>;

  // Both must outlive the journal.
  Journal(Store& store, const base::Clock& clock);
  ~Journal();
  Journal(const Journal&) = delete;
  Journal& operator=(const Journal&) = delete;

  // Before the first submit.
  void add_listener(Listener listener);
  // False when limits::kJournalQueueMax changes wait already: nothing was taken, try later.
  bool submit(Change change, Done done);
  // submit() and wait. For commands and start-up. kLimit when the queue is full.
  base::Result<Outcome> write(Change change);
  // Writes what waits, then ends the thread.
  void stop();
  // The last commit failed (disk full, read-only ...).
  bool failing() const;

  Store& store() const { return store_; }

 private:
  struct State;
  Store& store_;
  std::unique_ptr<State> state_;
};

}  // namespace engine::journal
