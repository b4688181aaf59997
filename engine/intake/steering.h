#pragma once
// What a person may do with a held revision: let it go on, have it translated again, give it up.
// Each with a reason, each journalled, each only while it is still held. What waits for a target
// that is not configured any more may be given up, too; what takes a moved session back may be
// translated again after it was given up.

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/journal.h"

namespace engine::intake {

enum class Steer : std::uint8_t { kRelease, kRemap, kWithdraw };
std::optional<Steer> steer_of(std::string_view name);  // "release", "remap", "withdraw"

struct SteerRequest {
  Steer action = Steer::kRelease;
  std::string session;
  std::uint32_t revision = 0;  // 0: the one that is held, when there is only one
  std::string target;          // "": likewise
  std::string actor;
  std::string why;
  // Of the configuration. When a withdrawal names another target, also what waits for that one is
  // found.
  std::vector<std::string> targets;
};

// The change to write. Errors: kNotFound (no such session, nothing held), kConflict (several are
// held: say which), kInvalid (no reason given, a release of what has no checked bundle).
base::Result<journal::Change> steer(const journal::Store& store, const SteerRequest& request);

// A sentence for the person who has to act, for each stable reason code.
std::string_view reason_text(std::string_view code);

}  // namespace engine::intake
