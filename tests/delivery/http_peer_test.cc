#include "engine/delivery/http_peer.h"

#include <atomic>
#include <chrono>
#include <future>
#include <memory>
#include <string>
#include <thread>
#include <utility>

#include <gtest/gtest.h>

#include "engine/web/http_server.h"

namespace engine::delivery {
namespace {

using std::chrono::milliseconds;

class PeerTest : public ::testing::Test {
 protected:
  void serve(std::function<web::Response(const web::Request&)> handler,
             web::HttpServer::Config config = {}) {
    auto started = web::HttpServer::start(std::move(config), web::answering(std::move(handler)));
    ASSERT_TRUE(started.has_value());
    server_ = std::move(*started);
    connect("http://127.0.0.1:" + std::to_string(server_->port()) + "/fhir");
  }
  void connect(const std::string& url) {
    PeerConfig config(*parse_base_url(url));
    config.answer_timeout = milliseconds(300);
    config.authorization = "Bearer token";
    auto peer = make_http_peer(loop_, std::move(config));
    ASSERT_TRUE(peer.has_value());
    peer_ = std::move(*peer);
  }
  Reply call(const std::string& body) {
    std::promise<Reply> promise;
    auto future = promise.get_future();
    peer_->call(Call("POST", "", body, "id-1"),
                [&promise](Reply reply) { promise.set_value(std::move(reply)); });
    return future.get();
  }

  AsioLoop loop_;
  std::unique_ptr<web::HttpServer> server_;
  std::unique_ptr<Peer> peer_;
};

TEST_F(PeerTest, PostsFhirAndReadsTheAnswer) {
  serve([](const web::Request& request) {
    web::Response response(201, "application/fhir+json",
                           request.method + " " + request.target + " " + request.body + " " +
                               std::string(request.header("content-type")) + " " +
                               std::string(request.header("x-request-id")) + " " +
                               std::string(request.header("authorization")));
    response.set("Retry-After", "3");
    return response;
  });
  const Reply reply = call("{}");
  EXPECT_EQ(reply.fate, Reply::Fate::kAnswered);
  EXPECT_EQ(reply.status, 201);
  EXPECT_EQ(reply.header("retry-after"), "3");
  EXPECT_EQ(reply.body, "POST /fhir {} application/fhir+json id-1 Bearer token");
}

TEST_F(PeerTest, KeepsItsConnection) {
  serve([](const web::Request&) { return web::Response(200, "text/plain", "x"); });
  for (int i = 0; i < 5; ++i) {
    EXPECT_EQ(call("{}").status, 200);
  }
  EXPECT_EQ(server_->connections(), 1u);
}

TEST_F(PeerTest, OpensANewConnectionWhenTheServerClosedTheOldOne) {
  web::HttpServer::Config config;
  config.idle_timeout = milliseconds(20);
  serve([](const web::Request&) { return web::Response(200, "text/plain", "x"); }, config);
  EXPECT_EQ(call("{}").status, 200);
  std::this_thread::sleep_for(milliseconds(100));
  EXPECT_EQ(call("{}").status, 200);
}

TEST_F(PeerTest, TellsADroppedConnectionFromOneThatWasNeverMade) {
  std::atomic<int> calls{0};
  serve([&calls](const web::Request&) {
    ++calls;
    web::Response response;
    response.close_without_answer = true;
    return response;
  });
  EXPECT_EQ(call("{}").fate, Reply::Fate::kNoAnswer);
  EXPECT_EQ(calls, 1);
  server_->stop(milliseconds(0));
  EXPECT_EQ(call("{}").fate, Reply::Fate::kNotSent);
}

TEST_F(PeerTest, GivesUpOnSilence) {
  serve([](const web::Request&) {
    web::Response response(200, "text/plain", "late");
    response.delay = milliseconds(1'000);
    return response;
  });
  const Reply reply = call("{}");
  EXPECT_EQ(reply.fate, Reply::Fate::kNoAnswer);
}

TEST_F(PeerTest, ReadsNoMoreThanItMust) {
  serve([](const web::Request&) {
    return web::Response(200, "text/plain", std::string(base::limits::kAnswerBytesMax + 1, 'x'));
  });
  const Reply reply = call("{}");
  EXPECT_EQ(reply.fate, Reply::Fate::kAnswered);
  EXPECT_TRUE(reply.body_cut);
}

TEST_F(PeerTest, HearsWhatIsSaidToAMessageThatIsNotReadToItsEnd) {
  web::HttpServer::Config config;
  config.body_bytes_max = 1'000;
  serve([](const web::Request&) { return web::Response(200, "text/plain", "x"); }, config);
  EXPECT_EQ(call(std::string(std::size_t{32} << 20, ' ')).status, 413);
  EXPECT_EQ(call("{}").status, 200);
}

TEST_F(PeerTest, SaysThatNoSuchHostExists) {
  connect("http://nowhere.invalid/fhir");
  EXPECT_EQ(call("{}").fate, Reply::Fate::kNotSent);
}

TEST_F(PeerTest, SpeaksNoTlsToAPlainServer) {
  serve([](const web::Request&) { return web::Response(200, "text/plain", "x"); });
  connect("https://127.0.0.1:" + std::to_string(server_->port()) + "/fhir");
  EXPECT_EQ(call("{}").fate, Reply::Fate::kNotSent);
}

}  // namespace
}  // namespace engine::delivery
