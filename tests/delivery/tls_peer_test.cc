// A record server over TLS, whose connection also carries what is no answer.

#include <chrono>
#include <filesystem>
#include <functional>
#include <future>
#include <memory>
#include <string>
#include <thread>
#include <utility>

#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/read_until.hpp>
#include <boost/asio/ssl.hpp>
#include <boost/asio/write.hpp>
#include <gtest/gtest.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/ssl.h>
#include <openssl/x509v3.h>
#include <unistd.h>

#include "engine/delivery/http_peer.h"

namespace engine::delivery {
namespace {

namespace asio = boost::asio;
using std::chrono::milliseconds;
using tcp = asio::ip::tcp;

// Signed by itself, for this machine, for an hour: certificate and key in one file.
class PemFile {
 public:
  PemFile() {
    EVP_PKEY* key = EVP_EC_gen("P-256");
    X509* certificate = X509_new();
    X509_set_version(certificate, 2);
    ASN1_INTEGER_set(X509_get_serialNumber(certificate), 1);
    X509_gmtime_adj(X509_getm_notBefore(certificate), -60);
    X509_gmtime_adj(X509_getm_notAfter(certificate), 3600);
    X509_set_pubkey(certificate, key);
    X509_EXTENSION* name =
        X509V3_EXT_conf_nid(nullptr, nullptr, NID_subject_alt_name, "IP:127.0.0.1");
    X509_add_ext(certificate, name, -1);
    X509_EXTENSION_free(name);
    X509_sign(certificate, key, EVP_sha256());
    BIO* out = BIO_new_file(path_.c_str(), "w");
    PEM_write_bio_X509(out, certificate);
    PEM_write_bio_PrivateKey(out, key, nullptr, nullptr, 0, nullptr, nullptr);
    BIO_free(out);
    X509_free(certificate);
    EVP_PKEY_free(key);
  }
  ~PemFile() { std::filesystem::remove(path_); }
  PemFile(const PemFile&) = delete;
  PemFile& operator=(const PemFile&) = delete;
  const std::string& path() const { return path_; }

 private:
  const std::string path_ = (std::filesystem::temp_directory_path() /
                             ("chartferry-peer-" + std::to_string(::getpid()) + ".pem"))
                                .string();
};

class TlsPeerTest : public ::testing::Test {
 protected:
  using Stream = asio::ssl::stream<tcp::socket>;

  // One connection. `work` is what the server does with it; it stays open until the test ends.
  void serve(std::function<void(Stream&)> work) {
    tls_.use_certificate_chain_file(pem_.path());
    tls_.use_private_key_file(pem_.path(), asio::ssl::context::pem);
    thread_ = std::thread([this, work = std::move(work)] {
      boost::system::error_code error;
      Stream stream(acceptor_.accept(), tls_);
      stream.handshake(asio::ssl::stream_base::server, error);
      work(stream);
      leave_.get_future().wait();
    });
    PeerConfig config(*parse_base_url(
        "https://127.0.0.1:" + std::to_string(acceptor_.local_endpoint().port()) + "/fhir"));
    config.answer_timeout = milliseconds(30'000);
    config.ca_file = pem_.path();
    auto peer = make_http_peer(loop_, std::move(config));
    ASSERT_TRUE(peer.has_value());
    peer_ = std::move(*peer);
  }
  void TearDown() override {
    leave_.set_value();
    thread_.join();
  }
  Reply call(const std::string& body) {
    std::promise<Reply> promise;
    peer_->call(Call("POST", "", body, "id-1"),
                [&promise](Reply reply) { promise.set_value(std::move(reply)); });
    return promise.get_future().get();
  }

  PemFile pem_;
  asio::io_context context_;
  tcp::acceptor acceptor_{context_, {asio::ip::address_v4::loopback(), 0}};
  asio::ssl::context tls_{asio::ssl::context::tls_server};
  std::promise<void> leave_;
  std::thread thread_;
  AsioLoop loop_;
  std::unique_ptr<Peer> peer_;
};

const std::string& large() {
  static const std::string text(std::size_t{32} << 20, ' ');
  return text;
}

TEST_F(TlsPeerTest, HearsWhatIsSaidToAMessageThatNobodyReadsOn) {
  serve([](Stream& stream) {
    boost::system::error_code error;
    std::string got;
    asio::read_until(stream, asio::dynamic_buffer(got), "\r\n\r\n", error);
    asio::write(stream,
                asio::buffer(
                    std::string("HTTP/1.1 413 Content Too Large\r\nContent-Length: 4\r\n\r\nmuch")),
                error);
  });
  const auto start = std::chrono::steady_clock::now();
  const Reply reply = call(large());
  EXPECT_EQ(reply.status, 413) << reply.failure;
  EXPECT_EQ(reply.body, "much");
  EXPECT_EQ(reply.header("connection"), "close");
  EXPECT_LT(std::chrono::steady_clock::now() - start, milliseconds(15'000));
}

// Tickets for a later session come behind the handshake, and new keys may come at any time.
TEST_F(TlsPeerTest, RecordsThatAreNoAnswerEndNoMessage) {
  std::size_t bytes = 0;
  serve([&bytes](Stream& stream) {
    boost::system::error_code error;
    std::string got;
    for (int i = 0; i < 2; ++i) {
      const std::size_t head =
          asio::read_until(stream, asio::dynamic_buffer(got), "\r\n\r\n", error);
      SSL_new_session_ticket(stream.native_handle());
      SSL_key_update(stream.native_handle(), SSL_KEY_UPDATE_NOT_REQUESTED);
      SSL_do_handshake(stream.native_handle());
      asio::write(stream, asio::buffer(std::string("HTTP/1.1 102 Processing\r\n\r\n")), error);
      asio::read(stream, asio::dynamic_buffer(got),
                 asio::transfer_exactly(large().size() - (got.size() - head)), error);
      bytes += got.size() - head;
      got.clear();
      asio::write(stream,
                  asio::buffer(std::string("HTTP/1.1 200 OK\r\nContent-Length: 1\r\n\r\n1")),
                  error);
    }
  });
  for (int i = 0; i < 2; ++i) {
    const Reply reply = call(large());
    EXPECT_EQ(reply.status, 200) << reply.failure;
    EXPECT_EQ(reply.body, "1") << "the second goes over the same connection";
  }
  EXPECT_EQ(bytes, 2 * large().size());
}

}  // namespace
}  // namespace engine::delivery
