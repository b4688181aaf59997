#pragma once
// What is sent for a leg, and what the journal knows of the server that gets it.

#include <cstdint>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/delivery/pieces.h"
#include "engine/delivery/versions.h"
#include "engine/journal/store.h"

namespace engine::delivery {

struct Consignment {
  std::string bundle;
  KnownVersions known;
  std::string request_id;
  std::uint32_t tries = 0;  // before this one
  bool uncertain = false;   // an earlier try may have been taken
  // An earlier revision may have been taken and was given up: what is found may be that one's.
  bool doubtful_past = false;
  // What such revisions sent, and this one before it was translated again, the newest first. A
  // resource found just so is theirs, and changed.
  std::vector<std::string> given_up;
  // What may have been taken of this revision and of those was sent whole, as far as the engine had
  // a say: when some of a bundle is there, all of it was.
  bool sent_whole = false;
  // What earlier revisions landed, the newest first. Only when there is something to compare with
  // it.
  std::vector<std::string> landed;
  // What later revisions sent, when what is sent again is no longer the last: a resource found just
  // so stays.
  std::vector<std::string> later;
  bool in_pieces = false;  // one resource at a time: as a whole it was too large
  SizeRefusals refused;    // what the target is known not to take
};
// Errors: kIo, kCorrupt, kNotFound of the journal.
base::Result<Consignment> load_consignment(const journal::Store& store, const journal::Leg& leg);

}  // namespace engine::delivery
