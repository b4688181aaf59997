#include "engine/web/http_server.h"

#include <atomic>
#include <chrono>
#include <memory>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "engine/web/event_stream.h"
#include "tests/web/raw_client.h"

namespace engine::web {
namespace {

using std::chrono::milliseconds;

std::unique_ptr<HttpServer> start(HttpServer::Config config, Handler handler) {
  auto server = HttpServer::start(std::move(config), std::move(handler));
  EXPECT_TRUE(server.has_value()) << (server ? "" : server.error().text());
  return std::move(*server);
}

Handler echo() {
  return answering([](const Request& request) {
    return Response(200, "text/plain", request.method + " " + request.target + " " + request.body);
  });
}

TEST(HttpServer, AnswersSeveralRequestsOnOneConnection) {
  const auto server = start({}, echo());
  RawClient client(server->port());
  for (const char* body : {"one", "two", "three"}) {
    client.send("POST /a?b=c HTTP/1.1\r\nHost: x\r\nContent-Length: " +
                std::to_string(std::string(body).size()) + "\r\n\r\n" + body);
    const RawClient::Answer answer = client.read_answer();
    EXPECT_EQ(answer.status, 200);
    EXPECT_EQ(answer.body, std::string("POST /a?b=c ") + body);
  }
}

TEST(HttpServer, AnswersPipelinedRequestsInOrder) {
  const auto server = start({}, echo());
  RawClient client(server->port());
  client.send("GET /1 HTTP/1.1\r\nHost: x\r\n\r\nGET /2 HTTP/1.1\r\nHost: x\r\n\r\n");
  EXPECT_EQ(client.read_answer().body, "GET /1 ");
  EXPECT_EQ(client.read_answer().body, "GET /2 ");
}

TEST(HttpServer, ClosesAfterAnAnswerWhenTheClientAsksForIt) {
  const auto server = start({}, echo());
  RawClient client(server->port());
  client.send("GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n");
  EXPECT_EQ(client.read_answer().status, 200);
  EXPECT_TRUE(client.at_end());
}

TEST(HttpServer, SendsNoBodyToHead) {
  const auto server = start({}, echo());
  RawClient client(server->port());
  client.send("HEAD /x HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n");
  const std::string all = client.read_all();
  EXPECT_NE(all.find("Content-Length: 8"), std::string::npos) << all;
  EXPECT_EQ(all.substr(all.size() - 4), "\r\n\r\n");
}

TEST(HttpServer, InvitesABodyThatWaitsForIt) {
  const auto server = start({}, echo());
  RawClient client(server->port());
  client.send("POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 2\r\nExpect: 100-continue\r\n\r\n");
  EXPECT_EQ(client.read_head(), "HTTP/1.1 100 Continue\r\n\r\n");
  client.send("ok");
  EXPECT_EQ(client.read_answer().body, "POST / ok");
}

TEST(HttpServer, TakesChunkedBodies) {
  const auto server = start({}, echo());
  RawClient client(server->port());
  client.send(
      "POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: "
      "chunked\r\n\r\n2\r\nab\r\n1\r\nc\r\n0\r\n\r\n");
  EXPECT_EQ(client.read_answer().body, "POST / abc");
}

TEST(HttpServer, AnswersFromAnotherThread) {
  std::vector<std::thread> threads;
  const auto server = start({}, [&threads](Request request, Answer answer) {
    threads.emplace_back([answer, target = request.target] {
      std::this_thread::sleep_for(milliseconds(5));
      answer(Response(202, "text/plain", target));
      answer(Response(500, "text/plain", "a second answer is ignored"));
    });
  });
  RawClient client(server->port());
  client.send("GET /late HTTP/1.1\r\nHost: x\r\n\r\n");
  const RawClient::Answer answer = client.read_answer();
  EXPECT_EQ(answer.status, 202);
  EXPECT_EQ(answer.body, "/late");
  for (std::thread& thread : threads) {
    thread.join();
  }
}

TEST(HttpServer, Answers500WhenTheHandlerForgets) {
  const auto server = start({}, [](Request, Answer) {});
  RawClient client(server->port());
  client.send("GET / HTTP/1.1\r\nHost: x\r\n\r\n");
  EXPECT_EQ(client.read_answer().status, 500);
}

TEST(HttpServer, TakesAnswersAfterItHasGone) {
  std::vector<Answer> kept;
  {
    const auto server = start({}, [&kept](Request, Answer answer) { kept.push_back(answer); });
    RawClient client(server->port());
    client.send("GET / HTTP/1.1\r\nHost: x\r\n\r\n");
    while (server->connections() == 0) {
      std::this_thread::yield();
    }
    std::this_thread::sleep_for(milliseconds(20));
    server->stop(milliseconds(0));
    EXPECT_TRUE(client.at_end());
  }
  ASSERT_EQ(kept.size(), 1u);
  kept.front()(Response(200, "text/plain", "too late"));
}

TEST(HttpServer, DropsAConnectionWithoutAnswerWhenTold) {
  const auto server = start({}, answering([](const Request&) {
                              Response response;
                              response.close_without_answer = true;
                              return response;
                            }));
  RawClient client(server->port());
  client.send("GET / HTTP/1.1\r\nHost: x\r\n\r\n");
  EXPECT_TRUE(client.at_end());
}

struct BadRequest {
  const char* name;
  std::string bytes;
  int status;
};

TEST(HttpServer, RefusesWhatIsNoRequest) {
  HttpServer::Config config;
  config.body_bytes_max = 100;
  config.refuse = [](int status, std::string_view text) {
    return Response(status, "application/json", "{\"why\":\"" + std::string(text) + "\"}");
  };
  const auto server = start(config, echo());
  const std::vector<BadRequest> table = {
      {"noise", "\x16\x03\x01\x02\r\n\r\n", 400},
      {"no version", "GET /\r\n\r\n", 400},
      {"negative length", "POST / HTTP/1.1\r\nContent-Length: -1\r\n\r\n", 400},
      {"two lengths", "POST / HTTP/1.1\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nab", 400},
      {"length and chunks",
       "POST / HTTP/1.1\r\nContent-Length: 3\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", 400},
      {"bad chunk", "POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n", 400},
      {"body one over", "POST / HTTP/1.1\r\nContent-Length: 101\r\n\r\n", 413},
      {"chunks one over",
       "POST / HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n65\r\n" + std::string(101, 'x') +
           "\r\n0\r\n\r\n",
       413},
      {"header too large", "GET / HTTP/1.1\r\nA: " + std::string(20'000, 'x') + "\r\n\r\n", 431},
  };
  for (const BadRequest& row : table) {
    RawClient client(server->port());
    client.send(row.bytes);
    const RawClient::Answer answer = client.read_answer();
    EXPECT_EQ(answer.status, row.status) << row.name;
    EXPECT_EQ(answer.body.substr(0, 7), "{\"why\":") << row.name;
  }
  RawClient client(server->port());
  client.send("POST / HTTP/1.1\r\nContent-Length: 100\r\n\r\n" + std::string(100, 'x'));
  EXPECT_EQ(client.read_answer().status, 200);
}

TEST(HttpServer, TellsConnectionsOverTheMaximum) {
  HttpServer::Config config;
  config.connections_max = 2;
  const auto server = start(config, echo());
  RawClient first(server->port());
  RawClient second(server->port());
  for (RawClient* client : {&first, &second}) {
    client->send("GET / HTTP/1.1\r\nHost: x\r\n\r\n");
    EXPECT_EQ(client->read_answer().status, 200);
  }
  RawClient third(server->port());
  const RawClient::Answer answer = third.read_answer();
  EXPECT_EQ(answer.status, 503);
  EXPECT_NE(answer.head.find("Retry-After: 1"), std::string::npos);
}

TEST(HttpServer, ClosesIdleConnections) {
  HttpServer::Config config;
  config.idle_timeout = milliseconds(50);
  const auto server = start(config, echo());
  RawClient client(server->port());
  EXPECT_TRUE(client.at_end());
}

TEST(HttpServer, ClosesOnARequestThatNeverEnds) {
  HttpServer::Config config;
  config.request_timeout = milliseconds(50);
  const auto server = start(config, echo());
  for (const char* bytes : {"POST / HTTP/1.1\r\nContent-Length: 10\r\n\r\nhalf", "POST / HTT"}) {
    RawClient client(server->port());
    client.send(bytes);
    EXPECT_TRUE(client.at_end()) << bytes;
  }
}

TEST(HttpServer, SendsNoEventToAReaderWhoMayNotAnyMore) {
  const auto stream = std::make_shared<EventStream>();
  std::atomic<bool> may{true};
  stream->only_while([&may] { return may.load(); });
  const auto server = start({}, answering([&stream](const Request&) {
                              Response response;
                              response.set("Content-Type", "text/event-stream");
                              response.stream = stream;
                              return response;
                            }));
  RawClient client(server->port());
  client.send("GET /events HTTP/1.1\r\nHost: x\r\n\r\n");
  client.read_head();
  EXPECT_TRUE(stream->push("a\n"));
  EXPECT_EQ(client.read_exactly(7), "2\r\na\n\r\n");
  may = false;
  EXPECT_TRUE(stream->push("b\n"));
  EXPECT_EQ(client.read_all(), "0\r\n\r\n");
  EXPECT_TRUE(stream->closed());
}

TEST(HttpServer, StreamsEventsUntilClosed) {
  const auto stream = std::make_shared<EventStream>();
  const auto server = start({}, answering([&stream](const Request&) {
                              Response response;
                              response.set("Content-Type", "text/event-stream");
                              response.stream = stream;
                              return response;
                            }));
  RawClient client(server->port());
  client.send("GET /events HTTP/1.1\r\nHost: x\r\n\r\n");
  client.read_head();
  EXPECT_TRUE(stream->push(to_event(7, "landed", "a\nb")));
  EXPECT_EQ(client.read_exactly(43), "25\r\nid: 7\nevent: landed\ndata: a\ndata: b\n\n\r\n");
  stream->close();
  EXPECT_EQ(client.read_all(), "0\r\n\r\n");
  EXPECT_FALSE(stream->push("more"));
}

TEST(HttpServer, CutsOffAReaderThatDoesNotKeepUp) {
  EventStream stream;
  const std::string half(base::limits::kEventQueueBytesMax / 2, 'x');
  EXPECT_TRUE(stream.push(half));
  EXPECT_TRUE(stream.push(half));
  EXPECT_FALSE(stream.push("x"));
  EXPECT_TRUE(stream.closed());
}

TEST(HttpServer, LetsARunningRequestEndWhenItStops) {
  std::thread worker;
  const auto server = start({}, [&worker](Request, Answer answer) {
    worker = std::thread([answer] {
      std::this_thread::sleep_for(milliseconds(50));
      answer(Response(200, "text/plain", "done"));
    });
  });
  RawClient client(server->port());
  client.send("GET / HTTP/1.1\r\nHost: x\r\n\r\n");
  std::this_thread::sleep_for(milliseconds(20));
  server->stop(milliseconds(5000));
  EXPECT_EQ(client.read_answer().body, "done");
  worker.join();
}

TEST(HttpServer, SaysWhyItCannotListen) {
  const auto server = start({}, echo());
  HttpServer::Config taken;
  taken.port = server->port();
  auto second = HttpServer::start(taken, echo());
  ASSERT_FALSE(second.has_value());
  EXPECT_EQ(second.error().code, base::ErrorCode::kIo);
  HttpServer::Config bad;
  bad.address = "not an address";
  auto third = HttpServer::start(bad, echo());
  ASSERT_FALSE(third.has_value());
  EXPECT_EQ(third.error().code, base::ErrorCode::kInvalid);
}

TEST(HttpMessage, ReadsQueryParameters) {
  Request request;
  request.target = "/sessions?dry-run&a=1%202+3&%62=x%zz&c";
  EXPECT_EQ(request.path(), "/sessions");
  EXPECT_TRUE(request.parameter("dry-run").present);
  EXPECT_EQ(request.parameter("a").value, "1 2 3");
  EXPECT_EQ(request.parameter("b").value, "x%zz");
  EXPECT_TRUE(request.parameter("c").present);
  EXPECT_FALSE(request.parameter("d").present);
  EXPECT_EQ(decode_path("a+b%2Fc%"), "a+b/c%");
}

TEST(HttpMessage, FindsHeadersInAnyCase) {
  Request request;
  request.headers = {{"Content-Type", "a"}, {"X", "b"}};
  EXPECT_EQ(request.header("content-type"), "a");
  EXPECT_EQ(request.header("content"), "");
}

}  // namespace
}  // namespace engine::web
