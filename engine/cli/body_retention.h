#pragma once
// Removes, while the engine works, bodies that are older than the site keeps them: once an hour,
// some at a time, so that nothing waits for it. Each time is a record of the journal.

#include <chrono>

#include "engine/base/seams.h"
#include "engine/journal/journal.h"
#include "engine/journal/retention.h"

namespace engine::cli {

class BodyRetention {
 public:
  // The journal and the clock must outlive it.
  BodyRetention(journal::Journal& journal, const base::Clock& clock, journal::Retention kept)
      : journal_(journal), clock_(clock), kept_(kept), next_(clock.steady()) {}
  // Call it every few seconds, on one thread. Of engines that share a journal one does the work.
  void look();

 private:
  journal::Journal& journal_;
  const base::Clock& clock_;
  const journal::Retention kept_;
  std::chrono::steady_clock::time_point next_;
};

}  // namespace engine::cli
