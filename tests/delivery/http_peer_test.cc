#include "engine/delivery/http_peer.h"

#include <atomic>
#include <chrono>
#include <future>
#include <memory>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <arpa/inet.h>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/read.hpp>
#include <boost/asio/read_until.hpp>
#include <boost/asio/write.hpp>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include "engine/base/limits.h"
#include "engine/web/http_server.h"

namespace engine::delivery {
namespace {

using std::chrono::milliseconds;

// One connection after the other, each request answered as a list says. An empty answer is none:
// the connection is closed behind the request.
class ScriptedServer {
 public:
  struct Answer {
    std::string bytes;
    milliseconds wait{0};
    bool last = false;  // nobody listens any more
  };
  explicit ScriptedServer(std::vector<Answer> answers) : answers_(std::move(answers)) {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t length = sizeof address;
    listening_ = ::socket(AF_INET, SOCK_STREAM, 0);
    EXPECT_EQ(::bind(listening_, reinterpret_cast<sockaddr*>(&address), length), 0);
    EXPECT_EQ(::listen(listening_, 8), 0);
    EXPECT_EQ(::getsockname(listening_, reinterpret_cast<sockaddr*>(&address), &length), 0);
    port_ = ntohs(address.sin_port);
    thread_ = std::thread([this] { serve(); });
  }
  ~ScriptedServer() {
    ::shutdown(listening_, SHUT_RDWR);
    thread_.join();
    ::close(listening_);
  }
  ScriptedServer(const ScriptedServer&) = delete;
  ScriptedServer& operator=(const ScriptedServer&) = delete;
  int port() const { return port_; }
  std::size_t asked() const { return asked_; }

 private:
  void serve() {
    while (asked_ < answers_.size()) {
      const int connection = ::accept(listening_, nullptr, nullptr);
      if (connection < 0) {
        return;
      }
      while (asked_ < answers_.size() && read_request(connection)) {
        const Answer& answer = answers_[asked_++];
        std::this_thread::sleep_for(answer.wait);
        if (answer.last) {
          ::shutdown(listening_, SHUT_RDWR);
        }
        if (answer.bytes.empty()) {
          break;
        }
        EXPECT_GT(::send(connection, answer.bytes.data(), answer.bytes.size(), MSG_NOSIGNAL), 0);
      }
      ::close(connection);
    }
  }
  // Its body is "{}".
  static bool read_request(int connection) {
    std::string bytes;
    char some[1024];
    while (!bytes.ends_with("\r\n\r\n{}")) {
      const ssize_t got = ::recv(connection, some, sizeof some, 0);
      if (got <= 0) {
        return false;
      }
      bytes.append(some, static_cast<std::size_t>(got));
    }
    return true;
  }

  const std::vector<Answer> answers_;
  int listening_ = -1;
  int port_ = 0;
  std::atomic<std::size_t> asked_{0};
  std::thread thread_;
};

ScriptedServer::Answer answer(const std::string& status) {
  return {"HTTP/1.1 " + status + "\r\nContent-Length: 0\r\n\r\n", milliseconds(0), false};
}

class PeerTest : public ::testing::Test {
 protected:
  void serve(std::function<web::Response(const web::Request&)> handler,
             web::HttpServer::Config config = {}) {
    auto started = web::HttpServer::start(std::move(config), web::answering(std::move(handler)));
    ASSERT_TRUE(started.has_value());
    server_ = std::move(*started);
    connect("http://127.0.0.1:" + std::to_string(server_->port()) + "/fhir");
  }
  void connect(const ScriptedServer& server) {
    connect("http://127.0.0.1:" + std::to_string(server.port()) + "/fhir", milliseconds(10'000));
  }
  void connect(const std::string& url, milliseconds answer_timeout = milliseconds(300)) {
    PeerConfig config(*parse_base_url(url));
    config.answer_timeout = answer_timeout;
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

// Answers each request with the bytes at hand, whatever they are: the first list is that of the
// first connection, in the order of its requests. Closes when it has nothing more to say.
class Script {
 public:
  using Lines = std::vector<std::vector<std::string>>;
  explicit Script(Lines lines)
      : acceptor_(context_, {boost::asio::ip::address_v4::loopback(), 0}),
        lines_(std::move(lines)),
        thread_([this] { run(); }) {}
  ~Script() { thread_.join(); }
  std::string url() const {
    return "http://127.0.0.1:" + std::to_string(acceptor_.local_endpoint().port()) + "/fhir";
  }

 private:
  void run() {
    for (const auto& answers : lines_) {
      boost::asio::ip::tcp::socket socket(context_);
      acceptor_.accept(socket);
      std::string got;
      boost::system::error_code error;
      for (const std::string& answer : answers) {
        // Every request of these tests has the body {}.
        const std::size_t n =
            boost::asio::read_until(socket, boost::asio::dynamic_buffer(got), "\r\n\r\n{}", error);
        got.erase(0, n);
        boost::asio::write(socket, boost::asio::buffer(answer), error);
      }
      boost::asio::read(socket, boost::asio::dynamic_buffer(got), error);  // until the other closes
    }
  }

  boost::asio::io_context context_;
  boost::asio::ip::tcp::acceptor acceptor_;
  Lines lines_;
  std::thread thread_;
};

std::string with_body(const std::string& body) {
  return "HTTP/1.1 200 OK\r\nContent-Length: " + std::to_string(body.size()) + "\r\n\r\n" + body;
}

TEST_F(PeerTest, TakesTheFinalAnswerAndNoInterimOne) {
  const std::string hints = "HTTP/1.1 103 Early Hints\r\nLink: </a>\r\n\r\n";
  const std::string go_on = "HTTP/1.1 100 Continue\r\n\r\n";
  const Script server({{hints + with_body("1"), go_on + hints + with_body("2"), with_body("3")}});
  connect(server.url());
  for (const char* body : {"1", "2", "3"}) {
    const Reply reply = call("{}");
    EXPECT_EQ(reply.status, 200);
    EXPECT_EQ(reply.body, body) << "one connection, each answer to its request";
  }
  peer_.reset();
}

TEST_F(PeerTest, HearsSoManyInterimAnswersAndNoMore) {
  std::string most;
  for (std::size_t i = 0; i < base::limits::kInterimAnswersMax; ++i) {
    most += "HTTP/1.1 102 Processing\r\n\r\n";
  }
  const Script server(
      {{most + with_body("1"), most + "HTTP/1.1 102 Processing\r\n\r\n" + with_body("2")},
       {with_body("3")}});
  connect(server.url());
  EXPECT_EQ(call("{}").body, "1");
  EXPECT_EQ(call("{}").fate, Reply::Fate::kNoAnswer);
  EXPECT_EQ(call("{}").body, "3") << "on another connection";
  peer_.reset();
}

// They have to be held until they end.
TEST_F(PeerTest, BoundsWhatStandsBesideTheChunksOfAnAnswer) {
  constexpr std::size_t kMost = base::limits::kHttpHeaderBytesMax;
  const std::string head = "HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n";
  const auto extended = [&head](std::size_t bytes) {
    return head + "1;" + std::string(bytes, 'a') + "\r\nz\r\n0\r\n\r\n";
  };
  const auto trailed = [&head](std::size_t bytes) {
    return head + "1\r\nz\r\n0\r\nX: " + std::string(bytes, 'a') + "\r\n\r\n";
  };
  const Script server({{extended(kMost - 2), trailed(kMost - 10), extended(40 * kMost)},
                       {trailed(40 * kMost)},
                       {with_body("5")}});
  connect(server.url());
  EXPECT_EQ(call("{}").body, "z");
  EXPECT_EQ(call("{}").body, "z");
  for (int i = 0; i < 2; ++i) {
    const Reply reply = call("{}");
    EXPECT_EQ(reply.fate, Reply::Fate::kNoAnswer) << "it proves nothing";
    EXPECT_FALSE(reply.resent) << "it was heard";
  }
  EXPECT_EQ(call("{}").body, "5");
  peer_.reset();
}

TEST_F(PeerTest, ABrokenConnectionAfterAnInterimAnswerIsNoStaleOne) {
  const Script server({{with_body("1"), "HTTP/1.1 100 Continue\r\n\r\nnoise\r\n\r\n"}});
  connect(server.url());
  EXPECT_EQ(call("{}").body, "1");
  EXPECT_EQ(call("{}").fate, Reply::Fate::kNoAnswer) << "not sent once more: it was heard";
  peer_.reset();
}

TEST_F(PeerTest, AnotherProtocolIsNoAnswerAndEndsTheConnection) {
  const Script server(
      {{"HTTP/1.1 101 Switching Protocols\r\nUpgrade: x\r\n\r\n"}, {with_body("2")}});
  connect(server.url());
  EXPECT_EQ(call("{}").status, 101);
  EXPECT_EQ(call("{}").body, "2");
  peer_.reset();
}

TEST_F(PeerTest, NeverUsesAConnectionOnWhichMoreCameThanWasAskedFor) {
  // At once, in one piece with an answer; and later, while nothing was asked.
  const Script server({{with_body("1") + with_body("forged")}, {with_body("2")}});
  connect(server.url());
  EXPECT_EQ(call("{}").body, "1");
  EXPECT_EQ(call("{}").body, "2");
  peer_.reset();
}

TEST_F(PeerTest, LooksAtAKeptConnectionBeforeItIsUsedAgain) {
  boost::asio::io_context context;
  boost::asio::ip::tcp::acceptor acceptor(context, {boost::asio::ip::address_v4::loopback(), 0});
  connect("http://127.0.0.1:" + std::to_string(acceptor.local_endpoint().port()) + "/fhir");
  std::promise<Reply> promises[2];
  const auto ask = [this](std::promise<Reply>& promise) {
    peer_->call(Call("POST", "", "{}", "id-1"),
                [&promise](Reply reply) { promise.set_value(std::move(reply)); });
  };
  const auto serve_one = [](boost::asio::ip::tcp::socket& socket, const std::string& bytes) {
    std::string got;
    boost::asio::read_until(socket, boost::asio::dynamic_buffer(got), "\r\n\r\n{}");
    boost::asio::write(socket, boost::asio::buffer(bytes));
  };
  ask(promises[0]);
  boost::asio::ip::tcp::socket first = acceptor.accept();
  serve_one(first, with_body("1"));
  EXPECT_EQ(promises[0].get_future().get().body, "1");
  boost::asio::write(first, boost::asio::buffer(with_body("forged")));
  ask(promises[1]);
  boost::asio::ip::tcp::socket second = acceptor.accept();
  serve_one(second, with_body("2"));
  EXPECT_EQ(promises[1].get_future().get().body, "2");
}

TEST_F(PeerTest, SendsNoHeaderThatWouldEndAndBeginAnother) {
  std::atomic<int> calls{0};
  serve([&calls](const web::Request&) {
    ++calls;
    return web::Response(200, "text/plain", "x");
  });
  const auto ask = [this](Call call) {
    std::promise<Reply> promise;
    peer_->call(std::move(call), [&promise](Reply reply) { promise.set_value(std::move(reply)); });
    return promise.get_future().get();
  };
  Call match("PUT", "/Observation/1", "{}", "id");
  match.headers.emplace_back("If-Match", "W/\"1\r\nX-More: 1\"");
  EXPECT_EQ(ask(match).status, 400);
  EXPECT_EQ(ask(Call("GET", "/Observation/1 HTTP/1.1\r\nX: y", "", "id")).status, 400);
  EXPECT_EQ(ask(Call("GET", "/Observation/1", "", "a\nb")).status, 400);
  EXPECT_EQ(calls, 0);
  EXPECT_EQ(ask(Call("GET", "/Observation/1", "", "id")).status, 200);
}

TEST_F(PeerTest, PostsFhirAndReadsTheAnswer) {
  serve([](const web::Request& request) {
    web::Response response(201, "application/fhir+json",
                           request.method + " " + request.target + " " + request.body + " " +
                               std::string(request.header("content-type")) + " " +
                               std::string(request.header("x-request-id")) + " " +
                               std::string(request.header("authorization")) + " " +
                               std::string(request.header("accept-encoding")));
    response.set("Retry-After", "3");
    return response;
  });
  const Reply reply = call("{}");
  EXPECT_EQ(reply.fate, Reply::Fate::kAnswered);
  EXPECT_EQ(reply.status, 201);
  EXPECT_EQ(reply.header("retry-after"), "3");
  EXPECT_EQ(reply.body, "POST /fhir {} application/fhir+json id-1 Bearer token identity");
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
  const Reply second = call("{}");
  EXPECT_EQ(second.status, 200);
  EXPECT_FALSE(second.resent) << "nothing of it was sent over the old one";
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

// The server may have taken what it read whole before it ended the connection.
TEST_F(PeerTest, DoesNotForgetThatItSentSomethingOverAKeptConnection) {
  ScriptedServer away({answer("200 OK"), {"", milliseconds(0), true}});
  connect(away);
  EXPECT_EQ(call("{}").status, 200);
  const Reply lost = call("{}");
  EXPECT_EQ(lost.fate, Reply::Fate::kNoAnswer) << lost.failure;
  EXPECT_TRUE(lost.resent);
  ScriptedServer busy({answer("200 OK"), {}, answer("429 Too Many Requests"), answer("200 OK")});
  connect(busy);
  EXPECT_EQ(call("{}").status, 200);
  const Reply refused = call("{}");
  EXPECT_EQ(refused.status, 429);
  EXPECT_TRUE(refused.resent);
  EXPECT_FALSE(call("{}").resent);
}

// What ends the connection after a while had begun to work on it.
TEST_F(PeerTest, AsksAgainOnlyWhereTheConnectionEndedAtOnceAndOnlyOnce) {
  const milliseconds late = base::limits::kStaleConnectionMax + milliseconds(100);
  ScriptedServer slow({answer("200 OK"), {"", late, false}, answer("200 OK")});
  connect(slow);
  EXPECT_EQ(call("{}").status, 200);
  EXPECT_EQ(call("{}").fate, Reply::Fate::kNoAnswer);
  EXPECT_EQ(slow.asked(), 2u);
  ScriptedServer closing({answer("200 OK"), {}, {}, answer("200 OK")});
  connect(closing);
  EXPECT_EQ(call("{}").status, 200);
  EXPECT_EQ(call("{}").fate, Reply::Fate::kNoAnswer);
  EXPECT_EQ(closing.asked(), 3u);
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

// Takes one connection, reads the head of a request and answers it; reads nothing more and ends
// nothing before it is told.
class DeafServer {
 public:
  explicit DeafServer(std::string answer)
      : answer_(std::move(answer)), thread_([this] { run(); }) {}
  ~DeafServer() {
    leave_.set_value();
    thread_.join();
  }
  DeafServer(const DeafServer&) = delete;
  DeafServer& operator=(const DeafServer&) = delete;
  std::string url() const {
    return "http://127.0.0.1:" + std::to_string(acceptor_.local_endpoint().port()) + "/fhir";
  }

 private:
  void run() {
    boost::system::error_code error;
    boost::asio::ip::tcp::socket socket(context_);
    acceptor_.accept(socket);
    std::string got;
    boost::asio::read_until(socket, boost::asio::dynamic_buffer(got), "\r\n\r\n", error);
    boost::asio::write(socket, boost::asio::buffer(answer_), error);
    leave_.get_future().wait();
  }

  boost::asio::io_context context_;
  boost::asio::ip::tcp::acceptor acceptor_{context_, {boost::asio::ip::address_v4::loopback(), 0}};
  std::promise<void> leave_;
  const std::string answer_;
  std::thread thread_;
};

TEST_F(PeerTest, HearsWhatIsSaidToAMessageThatNobodyReadsOn) {
  const std::string large(std::size_t{32} << 20, ' ');
  const DeafServer server("HTTP/1.1 413 Content Too Large\r\nContent-Length: 4\r\n\r\nmuch");
  connect(server.url(), milliseconds(30'000));
  const auto start = std::chrono::steady_clock::now();
  const Reply reply = call(large);
  EXPECT_EQ(reply.status, 413);
  EXPECT_EQ(reply.body, "much");
  EXPECT_EQ(reply.header("connection"), "close") << "half a message is on it";
  EXPECT_LT(std::chrono::steady_clock::now() - start, milliseconds(15'000));
}

// It is about something that is still being read, or about nothing.
TEST_F(PeerTest, ASuccessThatIsSaidToHalfAMessageIsNone) {
  const std::string large(std::size_t{32} << 20, ' ');
  const DeafServer server(with_body("1"));
  connect(server.url(), milliseconds(300));
  EXPECT_EQ(call(large).fate, Reply::Fate::kNoAnswer);
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
