#pragma once
// The server's side of TLS (RFC 8446; 1.2 by RFC 5246 with forward secrecy only): a certificate
// chain and its key, ready for handshakes. Every handshake is a whole one: no tickets, whose key
// would open what was said under all of them. Immutable; shared between threads. A renewed
// certificate is another Tls.

#include <chrono>
#include <memory>
#include <string_view>

#include "engine/base/result.h"

struct ssl_ctx_st;  // OpenSSL's SSL_CTX

namespace engine::web {

class Tls {
 public:
  // Both PEM: the server's certificate first, then those that vouch for it; a key without a
  // passphrase. Errors: kInvalid, saying which of the two is not usable, or that they do not belong
  // together.
  static base::Result<std::shared_ptr<const Tls>> make(std::string_view chain,
                                                       std::string_view key);
  ~Tls();
  Tls(const Tls&) = delete;
  Tls& operator=(const Tls&) = delete;

  // A reference of the caller's own (SSL_CTX_free gives it back).
  ssl_ctx_st* share() const;
  // From when and until when the server's certificate is good. An outdated one is served all the
  // same: the clients judge it by clocks of their own.
  std::chrono::system_clock::time_point begins() const { return begins_; }
  std::chrono::system_clock::time_point ends() const { return ends_; }

 private:
  explicit Tls(ssl_ctx_st* context) : context_(context) {}
  ssl_ctx_st* context_;
  std::chrono::system_clock::time_point begins_;
  std::chrono::system_clock::time_point ends_;
};

}  // namespace engine::web
