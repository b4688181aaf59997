#include "engine/web/http_server.h"

#include <atomic>
#include <chrono>
#include <future>
#include <memory>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "engine/web/event_stream.h"
#include "engine/web/request_head.h"
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

TEST(HttpServer, BoundsABodyByWhatIsAskedFor) {
  HttpServer::Config config;
  config.body_bytes_max = 10;
  config.body_max = [](const Request& head) {
    return head.target == "/few" ? std::size_t{3} : std::size_t{20};
  };
  const auto server = start(config, echo());
  struct Row {
    const char* path;
    std::size_t bytes;
    int status;
  };
  const Row rows[] = {{"/few", 3, 200}, {"/few", 4, 413}, {"/", 10, 200}, {"/", 11, 413}};
  for (const Row& row : rows) {
    const std::string head = std::string("POST ") + row.path + " HTTP/1.1\r\nHost: x\r\n";
    RawClient told(server->port());
    told.send(head + "Content-Length: " + std::to_string(row.bytes) + "\r\n\r\n" +
              std::string(row.bytes, 'a'));
    EXPECT_EQ(told.read_answer().status, row.status) << row.path << " " << row.bytes;
    RawClient chunked(server->port());
    std::string sent = head + "Transfer-Encoding: chunked\r\n\r\n";
    for (std::size_t i = 0; i < row.bytes; ++i) {
      sent += "1\r\na\r\n";
    }
    chunked.send(sent + "0\r\n\r\n");
    EXPECT_EQ(chunked.read_answer().status, row.status) << row.path << " " << row.bytes;
  }
}

// What a chunk says beside its size, and the fields behind the last one, have to be held until they
// end.
TEST(HttpServer, BoundsWhatStandsBesideTheChunks) {
  const auto server = start({}, echo());
  constexpr std::size_t kMost = base::limits::kHttpHeaderBytesMax;
  const std::string head = "POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n";
  struct Row {
    const char* name;
    std::string before;
    std::string held;  // then letters up to a length, then what ends it
    std::string after;
  };
  const Row rows[] = {{"extension", "", "1;", "\r\nz\r\n0\r\n\r\n"},
                      {"trailer", "1\r\nz", "\r\n0\r\nX: ", "\r\n\r\n"}};
  for (const Row& row : rows) {
    for (const std::size_t length : {kMost - 1, kMost, kMost + 1, 40 * kMost}) {
      RawClient client(server->port());
      client.send(head + row.before + row.held + std::string(length - row.held.size(), 'a'));
      // So that what comes is looked at before it has ended.
      std::this_thread::sleep_for(milliseconds(50));
      client.send(row.after);
      const RawClient::Answer answer = client.read_answer();
      EXPECT_EQ(answer.status, length <= kMost ? 200 : 431) << row.name << " " << length;
    }
  }
  RawClient client(server->port());
  std::string many = head;
  for (int i = 0; i < 1'000; ++i) {
    many += "1;" + std::string(1'000, 'a') + "\r\nz\r\n";
  }
  client.send(many + "0\r\n\r\n");
  EXPECT_EQ(client.read_answer().body.size(), 7 + 1'000U) << "nothing of it is kept";
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
  std::vector<BadRequest> table = {
      {"noise", "\x16\x03\x01\x02\r\n\r\n", 400},
      {"no version", "GET /\r\n\r\n", 400},
      {"negative length", "POST / HTTP/1.1\r\nContent-Length: -1\r\n\r\n", 400},
      {"two lengths", "POST / HTTP/1.1\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nab", 400},
      {"length and chunks",
       "POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 3\r\nTransfer-Encoding: "
       "chunked\r\n\r\n0\r\n\r\n",
       400},
      {"chunks and length",
       "POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\nContent-Length: "
       "3\r\n\r\n0\r\n\r\n",
       400},
      {"bad chunk", "POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n", 400},
      {"body one over", "POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 101\r\n\r\n", 413},
      {"chunks one over",
       "POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n65\r\n" +
           std::string(101, 'x') + "\r\n0\r\n\r\n",
       413},
      {"header too large", "GET / HTTP/1.1\r\nA: " + std::string(20'000, 'x') + "\r\n\r\n", 431},
      {"no host", "GET / HTTP/1.1\r\n\r\n", 400},
      {"an empty host", "GET / HTTP/1.1\r\nHost:\r\n\r\n", 400},
      {"two hosts", "GET / HTTP/1.1\r\nHost: x\r\nHost: x\r\n\r\n", 400},
      {"two hosts of old", "GET / HTTP/1.0\r\nHost: x\r\nHost: y\r\n\r\n", 400},
      {"two hosts in one", "GET / HTTP/1.1\r\nHost: x, y\r\n\r\n", 400},
      {"no path", "GET x HTTP/1.1\r\nHost: x\r\n\r\n", 400},
      {"the server itself", "OPTIONS * HTTP/1.1\r\nHost: x\r\n\r\n", 400},
      {"a tunnel", "CONNECT x:80 HTTP/1.1\r\nHost: x\r\n\r\n", 400},
      {"another host's", "GET http://y/ HTTP/1.1\r\nHost: x\r\n\r\n", 400},
      {"no host's", "GET http:///a HTTP/1.1\r\nHost: x\r\n\r\n", 400},
      {"another scheme", "GET ftp://x/ HTTP/1.1\r\nHost: x\r\n\r\n", 400},
      {"another version", "GET / HTTP/1.2\r\nHost: x\r\n\r\n", 400},
      {"chunks of old", "POST / HTTP/1.0\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n", 400},
  };
  for (const char* coding :
       {"xchunked", "identity", "gzip", "gzip, chunked", "chunked, gzip", "chunked;a=b",
        "\"chunked\"", "chunked\r\nTransfer-Encoding: chunked"}) {
    table.push_back({coding,
                     "POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: " + std::string(coding) +
                         "\r\n\r\n0\r\n\r\n",
                     400});
  }
  for (const BadRequest& row : table) {
    RawClient client(server->port());
    client.send(row.bytes);
    const RawClient::Answer answer = client.read_answer();
    EXPECT_EQ(answer.status, row.status) << row.name;
    EXPECT_EQ(answer.body.substr(0, 7), "{\"why\":") << row.name;
    EXPECT_TRUE(client.at_end()) << row.name << ": what follows is not taken for a request";
  }
  RawClient client(server->port());
  client.send("POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 100\r\n\r\n" + std::string(100, 'x'));
  EXPECT_EQ(client.read_answer().status, 200);
}

TEST(HttpServer, ReadsEveryFormThatATargetOfItsOwnMayHave) {
  const auto server = start({}, echo());
  struct Row {
    const char* line;
    const char* body;
  };
  static constexpr Row kRows[] = {
      {"GET /a?b HTTP/1.1\r\nHost: x:80\r\n\r\n", "GET /a?b "},
      {"GET http://X:80/a?b HTTP/1.1\r\nHost: x:80\r\n\r\n", "GET /a?b "},
      {"GET HTTPS://x HTTP/1.1\r\nHost: x\r\n\r\n", "GET / "},
      {"GET http://x?b HTTP/1.1\r\nHost: x\r\n\r\n", "GET /?b "},
      {"GET /http://y/ HTTP/1.1\r\nHost: [::1]:80\r\n\r\n", "GET /http://y/ "},
      {"GET /old HTTP/1.0\r\n\r\n", "GET /old "},
  };
  for (const Row& row : kRows) {
    RawClient client(server->port());
    client.send(row.line);
    EXPECT_EQ(client.read_answer().body, row.body) << row.line;
  }
}

TEST(HttpServer, AnswersOnlyToItsNames) {
  const std::vector<std::string> names = {"localhost", "127.0.0.1", "[::1]", "ward.example"};
  HttpServer::Config config;
  config.is_host = [&names](std::string_view host) { return is_named(host, names); };
  const auto server = start(std::move(config), echo());
  struct Row {
    const char* host;
    int status;
  };
  static constexpr Row kRows[] = {
      {"localhost", 200},
      {"LocalHost:8080", 200},
      {"127.0.0.1:1", 200},
      {"[::1]:8080", 200},
      {"ward.example", 200},
      {"ward.example:443", 200},
      {"rebound.example", 421},
      {"localhost.example", 421},
      {"a.localhost", 421},
      {"127.0.0.1.example", 421},
      {"[::2]", 421},
      {"[::1].example", 421},
      {"localhost:x", 421},
      {"localhost:80:80", 421},
      {"[::1", 421},
  };
  for (const Row& row : kRows) {
    RawClient client(server->port());
    client.send("GET / HTTP/1.1\r\nHost: " + std::string(row.host) + "\r\n\r\n");
    EXPECT_EQ(client.read_answer().status, row.status) << row.host;
  }
}

TEST(HttpServer, BoundsTheBodiesOfAllConnectionsTogether) {
  HttpServer::Config config;
  config.bodies_bytes_max = 100;
  std::vector<Answer> waiting;
  std::promise<void> arrived;
  const auto server = start(config, [&](Request request, Answer answer) {
    if (request.target == "/wait") {
      waiting.push_back(std::move(answer));
      arrived.set_value();
    } else {
      answer(Response(200, "text/plain", "taken"));
    }
  });
  const auto post = [](const std::string& target, std::size_t bytes) {
    return "POST " + target + " HTTP/1.1\r\nHost: x\r\nContent-Length: " + std::to_string(bytes) +
           "\r\n\r\n" + std::string(bytes, 'x');
  };
  RawClient first(server->port());
  first.send(post("/wait", 60));
  arrived.get_future().wait();
  RawClient fits(server->port());
  fits.send(post("/", 40));
  EXPECT_EQ(fits.read_answer().status, 200);
  RawClient over(server->port());
  over.send(post("/", 41));
  const RawClient::Answer refused = over.read_answer();
  EXPECT_EQ(refused.status, 503);
  EXPECT_NE(refused.head.find("Retry-After: "), std::string::npos);
  EXPECT_TRUE(over.at_end());
  waiting.front()(Response(200, "text/plain", "late"));
  EXPECT_EQ(first.read_answer().status, 200);
  RawClient again(server->port());
  again.send(post("/", 100));
  EXPECT_EQ(again.read_answer().status, 200) << "what was answered does not count any more";
}

// Half a request: such a connection is at work, and does not give way.
constexpr const char* kBegun = "GET / HTTP/1.1\r\n";
constexpr const char* kRest = "Host: x\r\n\r\n";

int ask(RawClient& client) {
  client.send(std::string(kBegun) + kRest);
  return client.read_answer().status;
}

// One whose request has begun to be read.
std::unique_ptr<RawClient> begin(const HttpServer& server) {
  auto client = std::make_unique<RawClient>(server.port());
  EXPECT_EQ(ask(*client), 200);
  client->send(kBegun);
  std::this_thread::sleep_for(milliseconds(50));
  return client;
}

TEST(HttpServer, TakesSoManyConnectionsOfOneAddress) {
  HttpServer::Config config;
  config.connections_of_address_max = 2;
  const auto server = start(config, echo());
  auto first = begin(*server);
  const auto second = begin(*server);
  EXPECT_EQ(RawClient(server->port()).read_answer().status, 503);
  second->send(kRest);
  EXPECT_EQ(second->read_answer().status, 200);
  second->send(kBegun);
  first.reset();
  while (server->connections() > 1) {
    std::this_thread::yield();
  }
  RawClient fourth(server->port());
  EXPECT_EQ(ask(fourth), 200) << "one has left";
}

TEST(HttpServer, WhatWaitsLongestForARequestGivesWay) {
  HttpServer::Config all;
  all.connections_max = 3;
  HttpServer::Config of_address;
  of_address.connections_of_address_max = 3;
  for (const HttpServer::Config& config : {all, of_address}) {
    const auto server = start(config, echo());
    const auto busy = begin(*server);
    RawClient longest(server->port());
    RawClient shorter(server->port());
    EXPECT_EQ(ask(longest), 200);
    EXPECT_EQ(ask(shorter), 200);
    RawClient next(server->port());
    EXPECT_EQ(ask(next), 200);
    EXPECT_TRUE(longest.at_end());
    EXPECT_EQ(ask(shorter), 200);
    RawClient silent(server->port());
    EXPECT_TRUE(next.at_end());
    std::this_thread::sleep_for(milliseconds(10));
    EXPECT_EQ(ask(shorter), 200);
    RawClient last(server->port());
    EXPECT_EQ(ask(last), 200);
    EXPECT_TRUE(silent.at_end()) << "one that never asked anything, too";
    busy->send(kRest);
    EXPECT_EQ(busy->read_answer().status, 200);
    EXPECT_EQ(server->connections(), 3U);
  }
}

TEST(HttpServer, WaitsForAFirstRequestAShorterTime) {
  HttpServer::Config config;
  config.first_request_timeout = milliseconds(50);
  const auto server = start(config, echo());
  for (const char* bytes : {"", "GET / HTTP/1.1\r\nHost: x\r\n"}) {
    RawClient client(server->port());
    client.send(bytes);
    EXPECT_TRUE(client.at_end()) << bytes;
  }
  RawClient client(server->port());
  for (int i = 0; i < 2; ++i) {
    client.send("GET / HTTP/1.1\r\nHost: x\r\n\r\n");
    EXPECT_EQ(client.read_answer().status, 200) << "the next ones have longer";
    std::this_thread::sleep_for(milliseconds(100));
  }
}

TEST(HttpServer, TellsConnectionsOverTheMaximum) {
  HttpServer::Config config;
  config.connections_max = 2;
  const auto server = start(config, echo());
  const auto first = begin(*server);
  const auto second = begin(*server);
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
  for (const char* bytes :
       {"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 10\r\n\r\nhalf", "POST / HTT"}) {
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

TEST(HttpServer, SendsNoEventsToHead) {
  const auto stream = std::make_shared<EventStream>();
  const auto server = start({}, answering([&stream](const Request&) {
                              Response response;
                              response.stream = stream;
                              return response;
                            }));
  EXPECT_TRUE(stream->push("data: a\n\n"));
  RawClient client(server->port());
  client.send("HEAD /events HTTP/1.1\r\nHost: x\r\n\r\n");
  const std::string all = client.read_all();
  EXPECT_EQ(all.find("\r\n\r\n"), all.size() - 4) << all;
  while (server->connections() > 0) {
    std::this_thread::yield();
  }
  EXPECT_TRUE(stream->closed());
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
