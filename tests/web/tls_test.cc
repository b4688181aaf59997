#include "engine/web/tls.h"

#include <chrono>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include <gtest/gtest.h>
#include <openssl/bio.h>
#include <openssl/ec.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/ssl.h>
#include <openssl/x509.h>

#include "engine/base/limits.h"
#include "engine/web/http_server.h"
#include "tests/web/raw_client.h"

namespace engine::web {
namespace {

using std::chrono::milliseconds;

std::string text_of(BIO* bio) {
  char* bytes = nullptr;
  const long n = BIO_get_mem_data(bio, &bytes);
  std::string out(bytes, static_cast<std::size_t>(n));
  BIO_free(bio);
  return out;
}

struct Pem {
  std::string certificate;
  std::string key;
};

// Signed by itself, for `name`, for an hour; the key on `passphrase` when there is one.
Pem make_pem(std::string_view name, const char* passphrase = nullptr) {
  EVP_PKEY* key = EVP_EC_gen("P-256");
  X509* certificate = X509_new();
  X509_set_version(certificate, 2);
  ASN1_INTEGER_set(X509_get_serialNumber(certificate), 1);
  X509_gmtime_adj(X509_getm_notBefore(certificate), -60);
  X509_gmtime_adj(X509_getm_notAfter(certificate), 3600);
  X509_NAME* subject = X509_get_subject_name(certificate);
  const std::vector<unsigned char> letters(name.begin(), name.end());
  X509_NAME_add_entry_by_txt(subject, "CN", MBSTRING_UTF8, letters.data(),
                             static_cast<int>(letters.size()), -1, 0);
  X509_set_issuer_name(certificate, subject);
  X509_set_pubkey(certificate, key);
  X509_sign(certificate, key, EVP_sha256());
  BIO* first = BIO_new(BIO_s_mem());
  PEM_write_bio_X509(first, certificate);
  BIO* second = BIO_new(BIO_s_mem());
  PEM_write_bio_PrivateKey(second, key, passphrase ? EVP_aes_128_cbc() : nullptr, nullptr, 0,
                           nullptr, const_cast<char*>(passphrase));
  X509_free(certificate);
  EVP_PKEY_free(key);
  return {text_of(first), text_of(second)};
}

std::shared_ptr<const Tls> make_tls(const Pem& pem) {
  auto tls = Tls::make(pem.certificate, pem.key);
  EXPECT_TRUE(tls.has_value()) << (tls ? "" : tls.error().text());
  return *tls;
}

// A client that blocks, and tells what it was shown.
class TlsClient {
 public:
  TlsClient(std::uint16_t port, int version_max = TLS1_3_VERSION)
      : context_(SSL_CTX_new(TLS_client_method())) {
    SSL_CTX_set_security_level(context_, 0);
    SSL_CTX_set_min_proto_version(context_, 0);
    SSL_CTX_set_max_proto_version(context_, version_max);
    const std::string where = "127.0.0.1:" + std::to_string(port);
    bio_ = BIO_new_ssl_connect(context_);
    BIO_set_conn_hostname(bio_, where.c_str());
    shaken_ = BIO_do_connect(bio_) == 1 && BIO_do_handshake(bio_) == 1;
  }
  ~TlsClient() {
    BIO_free_all(bio_);
    SSL_CTX_free(context_);
  }
  TlsClient(const TlsClient&) = delete;
  TlsClient& operator=(const TlsClient&) = delete;

  bool shaken() const { return shaken_; }
  std::string ask(const std::string& bytes) {
    BIO_write(bio_, bytes.data(), static_cast<int>(bytes.size()));
    std::string out;
    char chunk[4096];
    for (int n = 0; (n = BIO_read(bio_, chunk, sizeof chunk)) > 0;) {
      out.append(chunk, static_cast<std::size_t>(n));
    }
    return out;
  }
  // Ended by a farewell of TLS, not by a cut.
  bool parted() const { return (SSL_get_shutdown(ssl()) & SSL_RECEIVED_SHUTDOWN) != 0; }
  bool may_resume() const {
    const SSL_SESSION* shaken = SSL_get0_session(ssl());
    return SSL_SESSION_has_ticket(shaken) == 1;
  }
  std::string name_shown() const {
    X509* shown = SSL_get1_peer_certificate(ssl());
    char name[64] = {};
    X509_NAME_get_text_by_NID(X509_get_subject_name(shown), NID_commonName, name, sizeof name);
    X509_free(shown);
    return name;
  }

 private:
  SSL* ssl() const {
    SSL* out = nullptr;
    BIO_get_ssl(bio_, &out);
    return out;
  }
  SSL_CTX* context_;
  BIO* bio_ = nullptr;
  bool shaken_ = false;
};

std::unique_ptr<HttpServer> start(HttpServer::Config config) {
  auto server =
      HttpServer::start(std::move(config), answering([](const Request& request) {
                          return Response(200, "text/plain", request.method + " " + request.body);
                        }));
  EXPECT_TRUE(server.has_value());
  return std::move(*server);
}

constexpr const char* kAsk =
    "POST / HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Length: 2\r\n\r\nok";

TEST(TlsServer, AnswersOverBothVersionsAndSaysFarewell) {
  HttpServer::Config config;
  config.tls = make_tls(make_pem("one.example"));
  const auto server = start(config);
  for (const int version : {TLS1_2_VERSION, TLS1_3_VERSION}) {
    TlsClient client(server->port(), version);
    ASSERT_TRUE(client.shaken()) << version;
    EXPECT_TRUE(client.ask(kAsk).ends_with("\r\n\r\nPOST ok")) << version;
    EXPECT_TRUE(client.parted()) << version;
  }
}

// RFC 6797, 7.2: never in an answer that was not sent over TLS.
TEST(TlsServer, TellsBrowsersToComeByTlsOnly) {
  constexpr const char* kStrict = "Strict-Transport-Security: max-age=31536000\r\n";
  HttpServer::Config config;
  config.tls = make_tls(make_pem("one.example"));
  const auto server = start(config);
  EXPECT_NE(TlsClient(server->port()).ask(kAsk).find(kStrict), std::string::npos);
  RawClient plain(server->port());
  plain.send(kAsk);
  EXPECT_EQ(plain.read_answer().head.find("Strict-Transport"), std::string::npos);
  const auto other = start({});
  RawClient client(other->port());
  client.send(kAsk);
  EXPECT_EQ(client.read_answer().head.find("Strict-Transport"), std::string::npos);
}

TEST(TlsServer, ResumesNothing) {
  HttpServer::Config config;
  config.tls = make_tls(make_pem("one.example"));
  const auto server = start(config);
  for (const int version : {TLS1_2_VERSION, TLS1_3_VERSION}) {
    TlsClient client(server->port(), version);
    EXPECT_TRUE(client.ask(kAsk).ends_with("POST ok")) << version;
    EXPECT_FALSE(client.may_resume()) << version;
  }
}

TEST(TlsServer, RefusesOlderVersions) {
  HttpServer::Config config;
  config.tls = make_tls(make_pem("one.example"));
  const auto server = start(config);
  for (const int version : {TLS1_VERSION, TLS1_1_VERSION}) {
    EXPECT_FALSE(TlsClient(server->port(), version).shaken()) << version;
  }
}

TEST(TlsServer, CarriesLargeBodiesBothWays) {
  HttpServer::Config config;
  config.tls = make_tls(make_pem("one.example"));
  const auto server = start(config);
  const std::string body(std::size_t{1} << 20, 'b');
  TlsClient client(server->port());
  const std::string answer =
      client.ask("POST / HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Length: " +
                 std::to_string(body.size()) + "\r\n\r\n" + body);
  EXPECT_TRUE(answer.ends_with("POST " + body));
}

TEST(TlsServer, TellsWhoSpeaksPlainHttp) {
  HttpServer::Config config;
  config.tls = make_tls(make_pem("one.example"));
  const auto server = start(config);
  RawClient client(server->port());
  client.send("GET / HTTP/1.1\r\nHost: x\r\n\r\n");
  const RawClient::Answer answer = client.read_answer();
  EXPECT_EQ(answer.status, 400);
  EXPECT_NE(answer.body.find("https"), std::string::npos) << answer.body;
}

TEST(TlsServer, ClosesOnAHandshakeThatNeverEnds) {
  HttpServer::Config config;
  config.tls = make_tls(make_pem("one.example"));
  config.handshake_timeout = milliseconds(50);
  const auto server = start(config);
  for (const char* bytes : {"", "\x16", "\x16\x03\x01"}) {
    RawClient client(server->port());
    client.send(bytes);
    EXPECT_TRUE(client.at_end());
  }
}

TEST(TlsServer, ShowsARenewedCertificateToTheNext) {
  HttpServer::Config config;
  config.tls = make_tls(make_pem("old.example"));
  const auto server = start(config);
  TlsClient before(server->port());
  EXPECT_EQ(before.name_shown(), "old.example");
  server->renew(make_tls(make_pem("new.example")));
  // The renewal is taken in the order of its thread; a whole exchange lies between.
  EXPECT_TRUE(before.ask(kAsk).ends_with("POST ok"));
  EXPECT_EQ(TlsClient(server->port()).name_shown(), "new.example");
}

TEST(TlsServer, RefusesByTheHeadBeforeTheBodyComes) {
  HttpServer::Config config;
  config.tls = make_tls(make_pem("one.example"));
  config.screen = [](const Request& head) -> std::optional<Response> {
    if (head.header("authorization").empty()) {
      return Response(401, "text/plain", "who are you");
    }
    return std::nullopt;
  };
  const auto server = start(config);
  TlsClient stranger(server->port());
  // The body is announced and never sent: the answer does not wait for it.
  EXPECT_EQ(
      stranger.ask("POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 9000000\r\n\r\n").substr(0, 12),
      "HTTP/1.1 401");
  TlsClient known(server->port());
  EXPECT_TRUE(known
                  .ask("POST / HTTP/1.1\r\nHost: x\r\nAuthorization: y\r\nConnection: close\r\n"
                       "Content-Length: 2\r\n\r\nok")
                  .ends_with("POST ok"));
}

TEST(Tls, KnowsFromWhenAndUntilWhenItIsGood) {
  const auto before = std::chrono::system_clock::now() - std::chrono::seconds(1);
  const std::shared_ptr<const Tls> tls = make_tls(make_pem("one.example"));
  const auto after = std::chrono::system_clock::now();
  EXPECT_GE(tls->begins(), before - std::chrono::minutes(1));
  EXPECT_LE(tls->begins(), after - std::chrono::minutes(1));
  EXPECT_GE(tls->ends(), before + std::chrono::hours(1));
  EXPECT_LE(tls->ends(), after + std::chrono::hours(1));
}

TEST(Tls, RefusesWhatIsNoPair) {
  const Pem one = make_pem("one.example");
  const Pem two = make_pem("two.example");
  struct Row {
    std::string certificate;
    std::string key;
    const char* said;
  };
  const std::string long_text(base::limits::kPemBytesMax + 1, 'x');
  const Row table[] = {
      {"", one.key, "certificate is not usable"},
      {one.key, one.key, "certificate is not usable"},
      {one.certificate, "", "key is not usable"},
      {one.certificate, one.certificate, "key is not usable"},
      {one.certificate, make_pem("p", "secret").key, "without a passphrase"},
      {one.certificate, two.key, "does not belong"},
      {one.certificate + one.certificate.substr(0, 200), one.key, "chain is not readable"},
      {long_text, one.key, "too long"},
      {one.certificate, long_text, "too long"},
  };
  for (const Row& row : table) {
    const auto tls = Tls::make(row.certificate, row.key);
    ASSERT_FALSE(tls.has_value()) << row.said;
    EXPECT_EQ(tls.error().code, base::ErrorCode::kInvalid);
    EXPECT_NE(tls.error().detail.find(row.said), std::string::npos) << tls.error().detail;
  }
  EXPECT_TRUE(Tls::make(one.certificate + two.certificate, one.key).has_value()) << "a chain";
  const std::string padding(base::limits::kPemBytesMax - one.key.size(), '\n');
  EXPECT_TRUE(Tls::make(one.certificate, one.key + padding).has_value()) << "just at the limit";
}

}  // namespace
}  // namespace engine::web
