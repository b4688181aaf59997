#pragma once
// An HTTP/1.1 server (RFC 9112), plain or over TLS, on one thread of its own: keep-alive, bounded
// in bodies, connections and time, streaming for server-sent events, graceful stop. What two
// readers could read in two ways (RFC 9112 sections 3.2, 6.3) is refused, so that nothing in front
// of it sees other requests than it does. It knows nothing of sessions or FHIR; what it refuses
// itself (400, 413, 421, 431, 503) takes its body from Config::refuse. The handler runs on the
// server's thread and must not block for long: work that takes time is given away, and the Answer
// called later, from any thread.

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "engine/base/limits.h"
#include "engine/base/result.h"
#include "engine/web/answer.h"
#include "engine/web/http_message.h"
#include "engine/web/tls.h"

namespace engine::web {

using Handler = std::function<void(Request request, Answer answer)>;
// A handler that answers at once.
Handler answering(std::function<Response(const Request& request)> handler);

class HttpServer {
 public:
  struct Config {
    std::string address = "127.0.0.1";
    std::uint16_t port = 0;  // 0: any free one
    std::size_t body_bytes_max = base::limits::kBodyBytesMax;
    // Of a request with this head, when less than body_bytes_max; on the server's thread.
    std::function<std::size_t(const Request& head)> body_max;
    // Of the bodies of all requests that are being received or answered.
    std::size_t bodies_bytes_max = base::limits::kBodiesUnderWayBytesMax;
    std::size_t connections_max = base::limits::kConnectionsMax;
    // Of one address (base/network.h).
    std::size_t connections_of_address_max = base::limits::kConnectionsOfAddressMax;
    // From the first byte of a request to its last.
    std::chrono::milliseconds request_timeout = base::limits::kRequestTimeout;
    // Between requests of one connection.
    std::chrono::milliseconds idle_timeout = base::limits::kIdleTimeout;
    // From the connection to the end of the first request's head, the handshake included.
    std::chrono::milliseconds first_request_timeout = base::limits::kFirstRequestTimeout;
    // With it the server speaks TLS only, and without it plain HTTP only.
    std::shared_ptr<const Tls> tls;
    // From the connection to the end of its handshake.
    std::chrono::milliseconds handshake_timeout = base::limits::kTlsHandshakeTimeout;
    // For each write of an answer.
    std::chrono::milliseconds write_timeout = base::limits::kWriteTimeout;
    // Whether the value of a Host header names this server; everything does when empty. A page of
    // another name that was led to this address is refused with it: the browser takes that page for
    // this server's own.
    std::function<bool(std::string_view host)> is_host;
    // Makes the body of what the server refuses itself; plain text when empty.
    std::function<Response(int status, std::string_view text)> refuse;
    // Looks at the head of a request before its body is read. A response is sent at once and closes
    // the connection: the body of somebody who may not send one is never held. On the server's
    // thread.
    std::function<std::optional<Response>(const Request& head)> screen;
  };

  // Listens before it returns. Errors: kInvalid for a bad address, kIo when the port cannot be had.
  static base::Result<std::unique_ptr<HttpServer>> start(Config config, Handler handler);
  ~HttpServer();  // stop() with no grace, unless stopped before
  HttpServer(const HttpServer&) = delete;
  HttpServer& operator=(const HttpServer&) = delete;

  std::uint16_t port() const;
  std::size_t connections() const;
  // Another certificate for the handshakes from now on; connections under way keep theirs. Without
  // effect on a server of plain HTTP.
  void renew(std::shared_ptr<const Tls> tls);
  // No new connections and requests; running requests get `grace` to end, then are cut off. Returns
  // when the thread has ended. Event streams are closed at once.
  void stop(std::chrono::milliseconds grace);

 private:
  struct State;
  explicit HttpServer(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace engine::web
