#include "engine/web/tls.h"

#include <chrono>
#include <ctime>
#include <optional>
#include <string>
#include <utility>

#include <openssl/bio.h>
#include <openssl/err.h>
#include <openssl/pem.h>
#include <openssl/ssl.h>
#include <openssl/x509.h>

#include "engine/base/check.h"
#include "engine/base/limits.h"

namespace engine::web {
namespace {

template <auto kFree>
struct Free {
  template <class T>
  void operator()(T* one) const {
    kFree(one);
  }
};
using Bio = std::unique_ptr<BIO, Free<BIO_free>>;
using Certificate = std::unique_ptr<X509, Free<X509_free>>;
using Key = std::unique_ptr<EVP_PKEY, Free<EVP_PKEY_free>>;

// TLS 1.2 with ephemeral keys and authenticated encryption; 1.3 has nothing else.
constexpr const char* kCiphers = "ECDHE+AESGCM:ECDHE+CHACHA20";

// OpenSSL would ask on the terminal, and the engine would hang at its start.
int no_passphrase(char*, int, int, void*) {
  return -1;
}

Bio reader_of(std::string_view text) {
  return Bio(BIO_new_mem_buf(text.data(), static_cast<int>(text.size())));
}

base::Error unusable(std::string text) {
  ERR_clear_error();
  return {base::ErrorCode::kInvalid, std::move(text)};
}

// The server's certificate; what follows it goes into the context's chain.
base::Result<Certificate> use_chain(SSL_CTX* context, std::string_view chain) {
  const Bio bio = reader_of(chain);
  Certificate first(PEM_read_bio_X509_AUX(bio.get(), nullptr, no_passphrase, nullptr));
  if (!first || SSL_CTX_use_certificate(context, first.get()) != 1) {
    return unusable(
        "the certificate is not usable: give a PEM file that begins with the server's certificate");
  }
  while (X509* next = PEM_read_bio_X509(bio.get(), nullptr, no_passphrase, nullptr)) {
    if (SSL_CTX_add0_chain_cert(context, next) != 1) {
      X509_free(next);
      return unusable("a certificate of the chain is not usable");
    }
  }
  const bool at_end = ERR_GET_REASON(ERR_peek_last_error()) == PEM_R_NO_START_LINE;
  ERR_clear_error();
  if (!at_end) {
    return unusable("a certificate of the chain is not readable");
  }
  return first;
}

// Of a certificate's validity; nothing for a date that is none.
std::optional<std::chrono::system_clock::time_point> time_of(const ASN1_TIME* time) {
  std::tm parts{};
  if (ASN1_TIME_to_tm(time, &parts) != 1) {
    return std::nullopt;
  }
  return std::chrono::system_clock::from_time_t(timegm(&parts));
}

void harden(SSL_CTX* context) {
  ENGINE_CHECK(SSL_CTX_set_min_proto_version(context, TLS1_2_VERSION) == 1);
  ENGINE_CHECK(SSL_CTX_set_cipher_list(context, kCiphers) == 1);
  // A client that renegotiates makes the server work for nothing.
  SSL_CTX_set_options(context, SSL_OP_NO_RENEGOTIATION | SSL_OP_NO_COMPRESSION | SSL_OP_NO_TICKET |
                                   SSL_OP_CIPHER_SERVER_PREFERENCE);
  ENGINE_CHECK(SSL_CTX_set_num_tickets(context, 0) == 1);
  SSL_CTX_set_session_cache_mode(context, SSL_SESS_CACHE_OFF);
  SSL_CTX_set_mode(context, SSL_MODE_RELEASE_BUFFERS);
}

}  // namespace

base::Result<std::shared_ptr<const Tls>> Tls::make(std::string_view chain, std::string_view key) {
  if (chain.size() > base::limits::kPemBytesMax || key.size() > base::limits::kPemBytesMax) {
    return unusable("the certificate or its key is too long to be one");
  }
  SSL_CTX* const context = SSL_CTX_new(TLS_server_method());
  ENGINE_CHECK(context != nullptr);
  const std::shared_ptr<Tls> tls(new Tls(context));
  harden(context);
  const auto certificate = use_chain(context, chain);
  if (!certificate) {
    return certificate.error();
  }
  const Bio bio = reader_of(key);
  const Key secret(PEM_read_bio_PrivateKey(bio.get(), nullptr, no_passphrase, nullptr));
  if (!secret) {
    return unusable("the key is not usable: give a PEM file of a private key without a passphrase");
  }
  if (SSL_CTX_use_PrivateKey(context, secret.get()) != 1 ||
      SSL_CTX_check_private_key(context) != 1) {
    return unusable("the key does not belong to the certificate, or is too weak to be used");
  }
  const auto begins = time_of(X509_get0_notBefore(certificate->get()));
  const auto ends = time_of(X509_get0_notAfter(certificate->get()));
  if (!begins || !ends) {
    return unusable("the certificate does not say from when and until when it is good");
  }
  tls->begins_ = *begins;
  tls->ends_ = *ends;
  return std::shared_ptr<const Tls>(tls);
}

Tls::~Tls() {
  SSL_CTX_free(context_);
}

ssl_ctx_st* Tls::share() const {
  SSL_CTX_up_ref(context_);
  return context_;
}

}  // namespace engine::web
