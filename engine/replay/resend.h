#pragma once
// Sends to another record server what the journal calls landed: for moving to a new one. The stored
// bundles go again, in the order in which they landed, one at a time; one that is too large for the
// server as a whole goes one resource at a time. Sending one twice is safe, so a resend that
// stopped is simply begun again: every create is conditional, and what a bundle changes, of
// whichever revision it is, is looked up first. It is written over what an earlier revision of ours
// sent and over nothing else.

#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/delivery/exchange.h"
#include "engine/delivery/peer.h"
#include "engine/journal/store.h"
#include "engine/replay/replay.h"

namespace engine::replay {

// The reasons of `read` records of a resend begin with this.
inline constexpr const char* kResend = "resend";

struct ResendQuery {
  std::string target;             // its name in the journal
  Range range;                    // over the time of landing
  journal::Position through = 0;  // end with this record; 0: the last
};

// What resend() would send, for whom: to be written down before anything leaves the house. What
// lands meanwhile is not among it: resend with `through` = `last`. Errors: kIo, kCorrupt.
struct ResendPlan {
  std::uint64_t landings = 0;
  journal::Position last = 0;
  std::map<std::string, std::uint64_t> by_patient;  // as the journal hides them; "": nobody known
  // Revisions for the target that did not land, or nobody knows of: they are not sent.
  std::uint64_t held = 0;
  std::uint64_t waiting = 0;
};
// Errors besides: kUnsupported where bodies are sealed and no master key was given.
base::Result<ResendPlan> plan_resend(const journal::Store& store, const ResendQuery& query);

struct ResendReport {
  struct Named {
    journal::Position position = 0;  // of the landing
    std::string session;
    std::uint32_t revision = 0;
  };
  std::uint64_t sent = 0;   // and taken by the server
  std::uint64_t there = 0;  // of these, of which it had all already
  // Of which it had a part, so that the rest was made anew: somebody had deleted it, or an earlier
  // resend had stopped in the middle. At most limits::kIssuesMax are named, here and below.
  std::uint64_t in_part = 0;
  std::vector<Named> in_part_named;
  std::uint64_t unreadable = 0;  // landings, perhaps of another target, whose record is damaged
  std::uint64_t destroyed = 0;   // bundles that were destroyed on purpose: left out
  std::vector<Named> destroyed_named;
  journal::Position last = 0;  // the record of the last landing that was sent
  struct OfPatient {
    std::uint64_t sent = 0;    // left the house, taken or not
    std::uint64_t taken = 0;   // as a whole
    std::uint64_t partly = 0;  // stopped when a part of it was there
  };
  std::map<std::string, OfPatient> by_patient;
  // Set when it stopped: the first one that the server did not take, and the reason as in
  // docs/delivery.md.
  journal::Position stopped_at = 0;
  std::string session;
  std::uint32_t revision = 0;
  std::string reason;
  bool partly = false;      // a part of it is there
  std::string about;        // the one resource that was not taken, when it was one
  bool broken_off = false;  // by on_progress, behind `last`
  // Why the journal could not say what to send: `stopped_at` says for which.
  std::optional<base::Error> failure;
  // Whether all that landed is at the server now.
  bool complete() const {
    return stopped_at == 0 && !broken_off && !failure && unreadable == 0 && destroyed == 0;
  }
};

// The way to the server; each call waits for the answer.
struct ResendWay {
  // A bundle to the server's base; `in_pieces`: one resource at a time (delivery/peer.h).
  std::function<delivery::Reply(std::string bundle, bool in_pieces)> post;
  // The whole conversation about one.
  std::function<delivery::Conclusion(delivery::Consignment consignment)> exchange;
  // What is at a place, "/Provenance/17".
  std::function<delivery::Reply(const std::string& path)> get;
};

// Stops at the first that does not land, so that nothing overtakes it. `on_progress` is asked
// behind each that landed. What the journal cannot say ends it, too, and what was sent before is
// told all the same (ResendReport::failure).
ResendReport resend(const journal::Store& store, const ResendQuery& query, const ResendWay& way,
                    const OnProgress& on_progress);

}  // namespace engine::replay
