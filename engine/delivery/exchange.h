#pragma once
// The conversation with a record server about one leg: the message, and a look at each resource
// where something else may be than was sent: before it is written over, when the server says that a
// version is not what was expected, when a create found something there, when an earlier landing is
// in doubt. What has our content landed when an answer was lost; anything else was written by
// somebody else and is left for a person to decide. Lives on the loop of its peer.

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "engine/base/seams.h"
#include "engine/delivery/consignment.h"
#include "engine/delivery/peer.h"
#include "engine/delivery/pieces.h"
#include "engine/delivery/verdict.h"
#include "engine/journal/record.h"

namespace engine::delivery {

// Of a landing: the bundle is empty, and the server was asked nothing. What is to be taken back
// never left, say; a server may refuse a transaction without entries, for ever.
inline constexpr const char* kNothingToSend = "nothing-to-send";

// What came of it, to be written down.
struct Conclusion {
  Verdict verdict;
  int status = 0;
  // Of a landing: "changed-since" when somebody else wrote to it already, kNothingToSend, or
  // kUnknownPerson (unknown_people.h).
  std::string reason;
  std::vector<journal::Part> parts;
  std::optional<BundleSize> refused;  // what was sent and was too large as a whole
  // It was refused, and nothing that was ever sent of this revision is there.
  bool nothing_there = false;
  bool left = false;    // for the server, taken or not
  bool partly = false;  // some of it is there by this exchange, and some is not
};

struct ExchangeWorld {
  Peer& peer;
  const base::Clock& clock;
  // When its owner has gone nothing is sent any more and nobody is told.
  std::weak_ptr<const void> owner;
};
// `done` is called once, on the loop.
void start_exchange(ExchangeWorld world, Consignment consignment,
                    std::function<void(Conclusion)> done);

}  // namespace engine::delivery
