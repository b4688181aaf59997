#pragma once
// A configured record server as something to talk to: for the engine and for commands that ask one
// question after the other.

#include <memory>
#include <string>

#include "engine/base/result.h"
#include "engine/cli/serve_config.h"
#include "engine/delivery/asio_loop.h"
#include "engine/delivery/exchange.h"
#include "engine/delivery/http_peer.h"
#include "engine/delivery/peer.h"

namespace engine::cli {

// Errors: kInvalid for the URL, also when a sign-in would cross a network in the clear, kIo for the
// file of the sign-in.
base::Result<delivery::PeerConfig> peer_config_of(const TargetConfig& target);

class TargetPeer {
 public:
  // Errors: as peer_config_of(), kIo for the certificates.
  static base::Result<std::unique_ptr<TargetPeer>> open(const TargetConfig& target);
  // The same, for sending bundles: one that carries them out as far as the server can take them
  // (fitting_peer.h).
  static base::Result<std::unique_ptr<TargetPeer>> open_fitting(const TargetConfig& target);
  // Waits for the answer. `path` is under the server's base. Not for the loop's own thread.
  delivery::Reply get(const std::string& path);
  delivery::Reply call(delivery::Call call);
  // A bundle to the base; in pieces only when it was opened to fit.
  delivery::Reply post(std::string bundle, bool in_pieces);
  // The conversation about one bundle; when it was opened to fit.
  delivery::Conclusion exchange(delivery::Consignment consignment);

 private:
  TargetPeer() = default;
  delivery::AsioLoop loop_;
  std::unique_ptr<delivery::Peer> peer_;
};

}  // namespace engine::cli
