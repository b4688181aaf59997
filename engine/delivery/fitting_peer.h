#pragma once
// A record server as the courier needs it: one that takes transactions. Its CapabilityStatement is
// asked for before the first message and read again whenever somebody asks for it; where it offers
// no transactions, they are carried out in smaller steps (carriage.h). Lives on the loop of its
// peer.

#include <memory>
#include <string_view>

#include "engine/delivery/peer.h"

namespace engine::delivery {

class FittingPeer : public Peer {
 public:
  // "transaction", "batch" or "single"; before the statement was read, the first.
  virtual std::string_view mode() const = 0;
};

std::unique_ptr<FittingPeer> make_fitting_peer(std::unique_ptr<Peer> server);

}  // namespace engine::delivery
