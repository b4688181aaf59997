#pragma once
// What an answer of a record server means for the message it answers. Pure. Source of the table:
// FHIR R4 http.html (transaction, conditional forms), RFC 9110 and RFC 6585; docs/delivery.md
// explains each row.

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <string>

#include "engine/delivery/landing.h"
#include "engine/delivery/peer.h"
#include "engine/json/node.h"

namespace engine::delivery {

struct Verdict {
  enum class Action : std::uint8_t {
    kLanded,
    kHold,         // final as sent
    kHoldRetry,    // held, but time may help: an unknown patient
    kInPieces,     // too large as a whole: to be sent again, one resource at a time
    kRetry,        // blames this message: bounded tries
    kPauseTarget,  // says nothing about this message: the target is away, busy or misconfigured
  };
  Action action = Action::kHold;
  std::string reason;    // stable code, see docs/delivery.md
  bool unknown = false;  // the server may have taken it all the same
  std::chrono::milliseconds retry_after{0};
  Landing landing;  // when landed
  Verdict() = default;
  Verdict(Action a, std::string r, bool u = false) : action(a), reason(std::move(r)), unknown(u) {}
};

// `entries`: how many the bundle has. `uncertain`: an earlier try may have been taken.
Verdict judge(const Reply& reply, std::size_t entries, bool uncertain, std::int64_t now_ms);

// Retry-After (RFC 9110 section 10.2.3), seconds or a date, cut to limits::kRetryAfterMax; 0 when
// absent or broken.
std::chrono::milliseconds retry_after(const Reply& reply, std::int64_t now_ms);

// Whether an OperationOutcome says that something went wrong: what it comes with is no success,
// whatever the status. nullptr: none came.
bool says_failure(const json::Node* outcome);

// Entries of a Bundle; 0 when it is none.
std::size_t count_entries(std::string_view bundle);

}  // namespace engine::delivery
