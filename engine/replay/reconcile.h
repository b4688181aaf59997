#pragma once
// Asks a record server whether what the journal calls landed is still there: the resource with that
// identifier, in the version that landed. An id and a version alone are no proof, since another
// server, or one that was brought back from a backup, gives them to others. Reads only.

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/delivery/peer.h"
#include "engine/journal/store.h"

namespace engine::replay {

// A resource that is not as it landed.
struct Drift {
  enum class Kind : std::uint8_t {
    kGone,     // 404 or 410
    kChanged,  // another version, or content: somebody else wrote it
    kOther,    // another resource has its place, and it is not found by its identifier
    kUnknown,  // the server did not say: another answer, or no version
  };
  Kind kind = Kind::kGone;
  std::string resource;            // "Observation/17"
  std::string landed;              // ETag at the landing; empty when the server gave none
  std::string found;               // ETag now, or the status
  journal::Position position = 0;  // of the landing
  std::string session;
  std::uint32_t revision = 0;
};

struct ReconcileReport {
  std::uint64_t resources = 0;
  std::uint64_t same = 0;
  std::uint64_t moved = 0;       // of these, found by their identifiers, with another id
  std::uint64_t under_way = 0;   // a revision of their session is on its way: not compared
  std::uint64_t unnamed = 0;     // landed without a location that names a resource
  std::uint64_t unreadable = 0;  // landings, perhaps of another target, whose record is damaged
  std::uint64_t destroyed = 0;   // landings of which the journal no longer holds what landed
  std::vector<Drift> drifts;     // at most limits::kIssuesMax; `drifted` counts them all
  std::uint64_t drifted = 0;
};

struct ReconcileQuery {
  std::string target;
  // FHIR instants over the time of landing; empty: no bound. They choose what is asked for; what it
  // should be by now, later landings say, too.
  std::string since;
  std::string until;
};

// Errors: kIo, kCorrupt of the journal; kPeer when the server does not answer, is busy or does not
// take the sign-in: nothing is told then.
base::Result<ReconcileReport> reconcile(
    const journal::Store& store, const ReconcileQuery& query,
    const std::function<delivery::Reply(delivery::Call call)>& ask);

}  // namespace engine::replay
