#pragma once
// What is sent for a stored bundle, given what is known of the server: which resources earlier
// revisions landed there, and as which version. Pure.

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "engine/delivery/landing.h"
#include "engine/delivery/versions.h"

namespace engine::delivery {

// How an entry is written.
enum class Way : std::uint8_t {
  kPlain,    // as the bundle says
  kCreate,   // unless something with its identifier is there
  kVersion,  // in the place of one version and of no other
  kPlace,    // under an id of ours that no landing knows yet
};

// The message for a bundle.
struct Message {
  struct Sent {
    std::size_t entry = 0;  // in the bundle
    std::string full_url;
    std::string type;  // of its resource; empty when the entry has no request
    Way way = Way::kPlain;
    // Where it is looked for: "Provenance/..." of kPlace, "Observation?identifier=..." of kCreate.
    std::string place;
    KnownVersion known;  // resource is empty when nothing is
  };
  std::string body;
  std::vector<Sent> sent;  // by entry of `body`
  // The bundle itself has no entry: a taking back of what never left, say.
  bool nothing = false;
};
// `known`: updates of these name their version; an update of what never landed, or where nobody saw
// it, becomes a conditional create, which cannot overwrite; where the server names no versions an
// update stays a search by identifier. `there`: is on the server already, so it is left out; what
// is `gone` is left out because it is not there, and no Provenance is about it. References to the
// others name the resource. A bundle with nothing of either stays as it is, byte for byte.
Message make_message(std::string bundle, const KnownVersions& known, const KnownVersions& there);

// Whether a landing names only what the message wrote: each entry's type, the id that it was
// written under, no place twice, and none where another entry of the session is (`known`, `there`:
// as for the message). An answer to another message does not.
bool is_of(const Message& message, const Landing& landing, const KnownVersions& known,
           const KnownVersions& there);

// The landing of the whole bundle from that of the message.
Landing whole_landing(const Message& message, const Landing& landing, std::string_view bundle,
                      const KnownVersions& there);

}  // namespace engine::delivery
