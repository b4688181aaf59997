#pragma once
// A record server over HTTP/1.1, with TLS when its URL says https. Keeps connections open between
// calls and opens more as calls overlap. Follows no redirects. A call on a kept connection that the
// server closed in the meantime is made once more on a new one: every call of delivery may be
// repeated. HTTP/1.1 pairs answers with requests by their order alone, so that a connection on
// which anything came beyond the answers asked for is not used again. A request whose headers
// would hold control characters is not sent: 400. An answer that is no success is heard while the
// message is still being sent, and ends the sending.
// All of a call ends within the time to find the name, to connect and to answer.

#include <cstdint>
#include <memory>
#include <string>

#include "engine/base/result.h"
#include "engine/delivery/asio_loop.h"
#include "engine/delivery/peer.h"

namespace engine::delivery {

// A host that is reached without a network: localhost, 127.x.x.x, ::1.
bool is_this_machine(std::string_view host);

struct BaseUrl {
  bool tls = false;
  std::string host;  // without the brackets of IPv6
  std::uint16_t port = 80;
  std::string path;  // "" or "/fhir", no slash at the end
  // As in a Host header.
  std::string authority() const;
  // What is said to it crosses a network that others may read.
  bool in_clear() const { return !tls && !is_this_machine(host); }
};
// Errors: kInvalid. User names, queries and fragments have no place here.
base::Result<BaseUrl> parse_base_url(std::string_view text);

struct PeerConfig {
  BaseUrl url;
  std::string ca_file;        // PEM; empty: the system's
  std::string authorization;  // value of the Authorization header; empty: none
  std::string media_type = "application/fhir+json";
  std::chrono::milliseconds connect_timeout;
  std::chrono::milliseconds answer_timeout;
  explicit PeerConfig(BaseUrl u);
};

// The loop must outlive the peer. Errors: kIo when the CA file cannot be read.
base::Result<std::unique_ptr<Peer>> make_http_peer(AsioLoop& loop, PeerConfig config);

}  // namespace engine::delivery
