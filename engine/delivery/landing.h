#pragma once
// What a record server made of each entry of a bundle: where it is and as which version. Kept in
// the journal as the part "landing" (docs/formats/journal.md). Pure.

#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"

namespace engine::delivery {

struct LandedEntry {
  std::string location;
  std::string etag;
  // What is there is not what was sent, or nobody could look: a later revision asks before it
  // writes over it.
  bool unproven = false;
  int status = 0;  // of the entry's response; not kept
  // It was to be taken back, and was not there.
  bool not_sent = false;
};
// By entry of the bundle.
using Landing = std::vector<LandedEntry>;

std::string to_text(const Landing& landing);
// Errors: kCorrupt.
base::Result<Landing> parse_landing(std::string_view text);

}  // namespace engine::delivery
