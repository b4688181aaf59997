#pragma once
// A server that nothing goes to while this engine may not send. It stands nearest to the wire, so
// that each request passes it, also those in the middle of something that takes several. Lives on
// the loop of its peer.

#include <functional>
#include <memory>

#include "engine/delivery/peer.h"

namespace engine::delivery {

// `may_send` is asked on the loop, before each request; what it refuses was not sent. The loop must
// outlive the peer.
std::unique_ptr<Peer> make_gated_peer(std::unique_ptr<Peer> server, Loop& loop,
                                      std::function<bool()> may_send);

}  // namespace engine::delivery
