#pragma once
// Takes session documents in: admit -> journal (durable) -> receipt; then translates each accepted
// revision for each target and journals what came of it. Nothing is acknowledged before it is
// durable; what was accepted is translated after any crash, because the journal says what is still
// waiting. Thread safe.

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "engine/base/limits.h"
#include "engine/base/result.h"
#include "engine/intake/moving.h"
#include "engine/intake/session_core.h"
#include "engine/intake/target.h"
#include "engine/intake/work_pool.h"
#include "engine/journal/journal.h"
#include "engine/journal/search_key.h"

namespace engine::intake {

// What the sender is told. `body`: a receipt when 200 or 202, an OperationOutcome otherwise.
struct Answer {
  int status = 0;
  std::string body;
  bool try_later = false;                                   // 503: nothing was kept
  std::chrono::seconds pause = base::limits::kSenderPause;  // until the sender comes back
  std::string session;                                      // when known, for the Location
};
using Answered = std::function<void(Answer)>;

// What came in.
struct Arrival {
  std::string body;
  std::string session;  // when not empty, the document must be about this session
  std::string sender;   // the person or system that signed in; empty where nobody has to
};

class Intake {
 public:
  struct World {
    journal::Appender& journal;
    Workers& workers;      // for what a sender waits for
    Workers& translators;  // for what is made of it afterwards
    const journal::SearchKey& search_key;
    const SessionCore& core;  // what admits documents
    // Revisions that may wait to be translated or sent before senders are told to come back.
    std::size_t backlog_max = base::limits::kBacklogMax;
  };
  // `translated` is called after something became ready to be sent.
  Intake(World world, std::vector<Target> targets,
         std::function<void(const std::string& target)> translated);
  ~Intake();
  Intake(const Intake&) = delete;
  Intake& operator=(const Intake&) = delete;

  // 202: durable, with a receipt. 200: the same was here before. 400, 422: refused. 409: conflicts
  // with what is here. 503: try later. `answered` runs on any thread.
  void accept(Arrival arrival, Answered answered);
  // Findings and outcome of a document on its own, as if it came in at `now` (a FHIR instant);
  // nothing is kept.
  void dry_run(std::string body, std::string now, Answered answered);
  // The two acceptances by which a session goes to another patient; see moving.h. Nothing is
  // written.
  base::Result<Moving> plan_move(const std::string& session, const therapy::Move& wanted) const;
  // Puts what waits to be translated to work, and counts what waits; call it at start-up and every
  // limits::kTick.
  void sweep();
  // More waits than the site lets wait, as of the last count.
  bool full() const;

 private:
  struct State;
  std::shared_ptr<State> state_;
};

// JSON: {"session","revision","state","position","received"}.
std::string receipt_text(const std::string& session, std::uint32_t revision, std::string_view state,
                         journal::Position position, const std::string& received);
// An OperationOutcome of one error.
std::string problem_text(std::string code, std::string text);

}  // namespace engine::intake
