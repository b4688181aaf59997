#pragma once
// One transaction carried out at a record server that takes none: in dependency order, as batches
// or one resource at a time. References within the bundle and searches become names of resources
// before what has them is sent. Every write is conditional, so that beginning again after a crash
// or a lost answer writes nothing twice. Lives on the loop of its peer.

#include <cstdint>
#include <functional>
#include <string_view>

#include "engine/delivery/peer.h"
#include "engine/json/node.h"

namespace engine::delivery {

// How a server takes what belongs together.
enum class Mode : std::uint8_t { kTransaction, kBatch, kSingle };

std::string_view name_of(Mode mode);  // "transaction", "batch", "single"

// What a CapabilityStatement offers (R4: rest.interaction of the server); kTransaction when it says
// nothing of what it does.
Mode mode_of(const json::Node& statement);

// `call` posts a transaction. `done` is called once: with a transaction-response when all has
// landed, otherwise with the answer that stopped it, `partly` when something landed before, `about`
// what it is when it answers one resource.
// `peer` outlives it.
void carry_out(Peer& peer, Mode mode, Call call, std::function<void(Reply)> done);

}  // namespace engine::delivery
