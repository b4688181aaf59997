#pragma once
// Removes, while the engine works, bodies that are older than the site keeps them: once an hour,
// some at a time, so that nothing waits for it. Each time is a record of the journal. While the
// clock is not believed (journal/retention.h) nothing is removed, until a person has run `journal
// expire`, whose record each engine of the journal finds there.

#include <chrono>
#include <string>

#include "engine/base/seams.h"
#include "engine/journal/journal.h"
#include "engine/journal/retention.h"

namespace engine::cli {

class BodyRetention {
 public:
  // The journal and the clock must outlive it. `files`: prefix of those that go with the journal.
  // `newest`: time of the newest record before this start, which is believed when no file says
  // better; empty in an empty journal.
  BodyRetention(journal::Journal& journal, const base::Clock& clock, journal::Retention kept,
                const std::string& files, std::string newest);
  // Call it every few seconds, on one thread. Of engines that share a journal one does the work.
  void look();

 private:
  bool believes_clock();
  base::Result<void> hear_persons();

  journal::Journal& journal_;
  const base::Clock& clock_;
  const journal::Retention kept_;
  const std::string clock_file_;
  journal::ClockBelief belief_;
  std::chrono::steady_clock::time_point next_;
  std::chrono::steady_clock::time_point told_;  // that it waits
  bool waits_ = false;
};

}  // namespace engine::cli
