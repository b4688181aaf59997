#pragma once
// The HTTP interface over a real socket, with a journal in memory, a small core and no record
// server.

#include <chrono>
#include <functional>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include <gtest/gtest.h>

#include "engine/delivery/asio_loop.h"
#include "engine/delivery/target_desk.h"
#include "engine/journal/sqlite_store.h"
#include "engine/web/api.h"
#include "tests/intake/core_double.h"
#include "tests/journal/fixture.h"
#include "tests/web/raw_client.h"

namespace engine::web {

using intake::document_of;
using intake::session_id_of;

// Nothing is sent here.
class NoServer final : public delivery::Peer {
 public:
  void call(delivery::Call, std::function<void(delivery::Reply)>) override {}
};
class NoRandom final : public base::Random {
 public:
  void fill(std::span<std::uint8_t>) override {}
};

// Another number every time.
class CountingRandom final : public base::Random {
 public:
  void fill(std::span<std::uint8_t> bytes) override {
    for (std::uint8_t& byte : bytes) {
      byte = static_cast<std::uint8_t>(next_++ * 37);
    }
  }

 private:
  unsigned next_ = 1;
};

class ApiTest : public ::testing::Test {
 protected:
  void SetUp() override {
    store_ = std::move(*journal::open_sqlite_store({":memory:", journal::OpenMode::kEngine}));
    journal_ = std::make_unique<journal::Journal>(*store_, clock_);
    journal_->add_listener(
        [this](const std::vector<journal::Outcome>& outcomes) { metrics_.wrote(outcomes); });
    workers_ = std::make_unique<intake::WorkPool>(1);
    std::vector<intake::Target> targets;
    targets.emplace_back("main", &core_);
    const intake::Intake::World world{*journal_, *workers_, *workers_, key_, core_};
    intake_ =
        std::make_unique<intake::Intake>(world, std::move(targets), [](const std::string&) {});
    events_ = std::make_unique<Events>(*store_);
    desk_ = std::make_unique<delivery::TargetDesk>(*journal_, loop_);
    courier_ = std::make_shared<delivery::Courier>(
        "main", delivery::Courier::World{*journal_, no_server_, loop_, clock_, random_});
    ASSERT_TRUE(
        desk_->open({{"main", [] { return std::string_view("transaction"); }, {}}}, {courier_})
            .has_value());
    sheets_ = std::make_unique<Sheets>(Sheets::World{*journal_, key_, clock_, tokens_,
                                                     [this] { return ward_; },
                                                     [](std::string_view, std::string_view value) {
                                                       return session_id_of(std::string(value));
                                                     }});
    ModelTexts texts{R"({"schema":true})", R"({"resourceType":"StructureDefinition"})", "{}"};
    api_ = std::make_unique<Api>(Api::World{
        *journal_,
        *intake_,
        *events_,
        metrics_,
        std::move(texts),
        *desk_,
        [] {},
        [this] { return stopping_; },
        {[] { return std::string(R"({"inForce":{"set":"a"}})"); },
         [](std::string_view set, std::string_view, std::string_view, std::string_view) {
           return set == "b" ? base::Result<MappingChange>(MappingChange{"", "", "", "mapping=b"})
                             : base::Error(base::ErrorCode::kNotFound, "none waits");
         },
         [](std::string_view target, std::string_view, std::string_view) {
           return base::Result<MappingChange>(
               MappingChange{"", "", std::string(target), "mapping=a"});
         }},
        key_,
        [] { return std::string("2027-01-15T08:00:00.000Z"); },
        [this] { return ward_; },
        [](const std::string& target, const std::function<void(base::Result<std::string>)>& told) {
          told(target == "main" ? base::Result<std::string>(std::string(R"({"ready":true})"))
                                : base::Error(base::ErrorCode::kNotFound, "no such target"));
        },
        {[](journal::Position position, const AuditControl::Done& done) {
           done(position == 1 ? base::Result<std::string>(std::string(R"({"position":1})"))
                : position == 2
                    ? base::Error(base::ErrorCode::kCorrupt, "it does not lie in the tree")
                    : base::Error(base::ErrorCode::kNotFound, "no such record"));
         },
         [](const AuditControl::Done& done) { done(std::string(R"({"sound":true})")); },
         [](const std::string& since, const std::string& until, const AuditControl::Done& done) {
           done(R"({"translations":0,"range":")" + since + "/" + until + "\"}");
         }},
        *sheets_,
        {[] { return base::Result<std::string>(std::string(R"({"set":"a","files":[]})")); },
         [](std::string_view name) {
           return name == "concepts/a.csv"
                      ? base::Result<std::string>(std::string("the text"))
                      : base::Error(base::ErrorCode::kNotFound, "no such file");
         },
         [this](TryOutWish wish, const std::function<void(base::Result<TryOutTold>)>& told) {
           tried_.push_back(std::move(wish));
           told(try_out_);
         }}});
    server_ = std::move(*HttpServer::start({}, [this](Request request, Answer answer) {
      api_->handle(std::move(request), std::move(answer));
    }));
  }
  void TearDown() override {
    events_->close();
    server_->stop(std::chrono::milliseconds(100));
    workers_->stop();
    loop_.stop();
    journal_->stop();
  }
  RawClient::Answer ask(const std::string& method, const std::string& path,
                        const std::string& body = "",
                        const std::string& type = "application/json") {
    RawClient client(server_->port());
    client.send(method + " " + path + " HTTP/1.1\r\nHost: x\r\nContent-Type: " + type +
                "\r\nContent-Length: " + std::to_string(body.size()) + "\r\n\r\n" + body);
    return client.read_answer();
  }
  // What the journal holds of looking at it; other records are written meanwhile.
  std::vector<journal::Record> reads_noted() {
    journal::Query query;
    query.kind = journal::Kind::kRead;
    return *store_->search(query);
  }
  // Asks until the body has the text.
  std::string wait_for(const std::string& path, const std::string& text) {
    RawClient::Answer answer;
    for (int i = 0; i < 500; ++i) {
      answer = ask("GET", path);
      if (answer.body.find(text) != std::string::npos) {
        return answer.body;
      }
      std::this_thread::sleep_for(std::chrono::milliseconds(2));
    }
    return "never: " + answer.body;
  }

  journal::SetClock clock_;
  delivery::AsioLoop loop_;
  NoServer no_server_;
  NoRandom random_;
  CountingRandom tokens_;
  intake::CoreDouble core_;
  journal::SearchKey key_{"secret"};
  Metrics metrics_;
  bool stopping_ = false;
  std::vector<TryOutWish> tried_;  // what was asked to be tried out, and the answer to it
  base::Result<TryOutTold> try_out_ = TryOutTold{R"({"compiled":true})", {}};
  base::Result<std::string> ward_ = base::Error(base::ErrorCode::kNotFound, "no ward list here");
  std::unique_ptr<journal::Store> store_;
  std::unique_ptr<journal::Journal> journal_;
  std::unique_ptr<intake::WorkPool> workers_;
  std::unique_ptr<intake::Intake> intake_;
  std::unique_ptr<delivery::TargetDesk> desk_;
  std::shared_ptr<delivery::Courier> courier_;
  std::unique_ptr<Events> events_;
  std::unique_ptr<Sheets> sheets_;
  std::unique_ptr<Api> api_;
  std::unique_ptr<HttpServer> server_;
};

}  // namespace engine::web
