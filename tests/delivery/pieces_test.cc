// Sessions that a record server finds too large: a courier on a journal in memory, against a server
// that takes transactions up to a size and knows no references but to what it has.

#include "engine/delivery/pieces.h"

#include <map>
#include <string>

#include <gtest/gtest.h>

#include "engine/delivery/fitting_peer.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "tests/delivery/still_world.h"

namespace engine::delivery {
namespace {

using json::Node;

class SmallServer {
 public:
  Reply answer(const Call& call) {
    if (call.path == "/metadata") {
      Reply reply = StillPeer::status(200);
      reply.body = R"({"resourceType":"CapabilityStatement","rest":[{"mode":"server",)"
                   R"("interaction":[)" +
                   std::string(takes_whole ? R"({"code":"transaction"})" : "") + "]}]}";
      return reply;
    }
    if (call.path.ends_with("/_search")) {
      return search(call.body.substr(call.body.find('=') + 1));
    }
    log += call.path.empty() ? "whole " : "piece ";
    if (call.body.size() > body_max || (call.path.empty() && costly)) {
      Reply reply = StillPeer::status(costly ? 422 : 413);
      reply.body = R"({"resourceType":"OperationOutcome","issue":[{"severity":"error","code":)"
                   R"("too-costly"}]})";
      return reply;
    }
    if (--silent_at == 0) {
      takes_whole = true;
      return Reply(Reply::Fate::kNoAnswer, "silence");
    }
    json::Document document(names_);
    EXPECT_TRUE(document.parse(call.body)) << call.body;
    return call.path.empty() ? whole(*document.root()) : piece(call, *document.root());
  }

  std::map<std::string, std::string> kept;  // identifier -> content
  int creates = 0;
  std::size_t body_max = 1'000'000;
  bool costly = false;
  bool takes_whole = true;
  int silent_at =
      0;  // at this message nothing is taken, and the server takes whole ones from then on
  std::string log;

 private:
  Reply search(const std::string& name) const {
    Reply reply = StillPeer::status(200);
    reply.body = R"({"resourceType":"Bundle","type":"searchset","entry":[)";
    if (const auto found = kept.find(name); found != kept.end()) {
      std::string content = found->second;
      content.insert(content.size() - 1, R"(,"id":")" + name + "\"");
      reply.body += R"({"resource":)" + content + "}";
    }
    reply.body += "]}";
    return reply;
  }
  int keep(const std::string& name, const Node& resource) {
    const bool fresh = kept.emplace(name, json::to_text(resource)).second;
    creates += fresh ? 1 : 0;
    return fresh ? 201 : 200;
  }
  Reply piece(const Call& call, const Node& resource) {
    EXPECT_EQ(call.body.find("urn:"), std::string::npos) << "refers to what the server has";
    const std::string name = call.headers.at(0).second.substr(11);
    Reply reply = StillPeer::status(keep(name, resource));
    reply.headers.emplace_back("Location", "Observation/" + name + "/_history/1");
    return reply;
  }
  Reply whole(const Node& bundle) {
    Reply reply = StillPeer::status(200);
    reply.body = R"({"resourceType":"Bundle","type":"transaction-response","entry":[)";
    for (const Node& entry : *bundle.find("entry")) {
      const std::string name(entry.find("request")->string_at("ifNoneExist").substr(11));
      reply.body += reply.body.ends_with('[') ? "" : ",";
      reply.body += R"({"response":{"status":")" +
                    std::to_string(keep(name, *entry.find("resource"))) +
                    R"(","location":"Observation/)" + name + R"(/_history/1"}})";
    }
    reply.body += "]}";
    return reply;
  }
  json::NameTable names_;
};

// The world's peer, as one that may be owned.
class Passing final : public Peer {
 public:
  explicit Passing(Peer& peer) : peer_(peer) {}
  void call(Call call, std::function<void(Reply)> done) override {
    peer_.call(std::move(call), std::move(done));
  }

 private:
  Peer& peer_;
};

class PiecesTest : public ::testing::Test {
 protected:
  PiecesTest() {
    world_.peer.answer = [this](const Call& call) { return server_.answer(call); };
    boot();
  }
  // As after a crash: another engine on the same journal.
  void boot() {
    courier_.reset();
    peer_ = make_fitting_peer(std::make_unique<Passing>(world_.peer));
    journal::Record started;
    started.kind = journal::Kind::kStarted;
    world_.write(journal::Change(started));
    courier_ = std::make_shared<Courier>(
        "main", Courier::World{world_.appender, *peer_, world_.loop, world_.clock, world_.random},
        CourierLimits());
  }
  // A session whose first resource refers to the second; each is so long, the second by so much
  // longer.
  void add(const std::string& session, std::size_t length, int entries = 2, std::size_t more = 0) {
    std::string list;
    for (int i = 0; i < entries; ++i) {
      const std::string name = session + std::to_string(i);
      list +=
          (i > 0 ? "," : "") + (R"({"fullUrl":"urn:)" + name) +
          R"(","resource":{"resourceType":"Observation","identifier":[{"value":")" + name +
          R"("}],"note":")" + std::string(length + (i == 1 ? more : 0), 'n') +
          (i == 0 ? R"(","part":{"reference":"urn:)" + session + R"(1"}})" : std::string("\"}")) +
          R"(,"request":{"method":"POST","url":"Observation","ifNoneExist":"identifier=)" + name +
          "\"}}";
    }
    journal::Record record;
    record.kind = journal::Kind::kAccepted;
    record.session = session;
    record.revision = 1;
    record.targets = "main";
    record.content = session;
    world_.write(journal::Change(record));
    record.kind = journal::Kind::kChecked;
    record.target = "main";
    record.targets.clear();
    journal::Change change(record);
    change.parts.push_back(journal::to_stored(journal::Part(
        "bundle", R"({"resourceType":"Bundle","type":"transaction","entry":[)" + list + "]}")));
    world_.write(std::move(change));
  }
  void release(const std::string& session) {
    journal::Record record;
    record.kind = journal::Kind::kReleased;
    record.session = session;
    record.revision = 1;
    record.target = "main";
    record.actor = "Robin Sample";
    record.why = "the limit was raised";
    world_.write(journal::Change(record));
  }
  void run(std::int64_t ms = 60'000) {
    server_.log.clear();
    courier_->wake();
    world_.loop.run_until(world_.clock.ms + ms);
  }
  journal::Leg leg(const std::string& session) { return world_.store->legs(session)->at(0); }
  std::string state(const std::string& session) {
    const journal::Leg one = leg(session);
    return std::string(journal::name_of(one.state)) + (one.reason.empty() ? "" : " " + one.reason);
  }

  StillWorld world_;
  SmallServer server_;
  std::unique_ptr<FittingPeer> peer_;
  std::shared_ptr<Courier> courier_;
};

TEST_F(PiecesTest, AWholeThatIsTooLargeGoesOnInPieces) {
  for (const bool costly : {false, true}) {
    server_.costly = costly;
    server_.body_max = costly ? 1'000'000 : 500;
    boot();
    const std::string session = costly ? "t" : "s";
    add(session, 300);
    run();
    EXPECT_EQ(state(session), "landed");
    EXPECT_EQ(server_.log, "whole piece piece ");
    EXPECT_NE(server_.kept[session + "0"].find("\"Observation/" + session + "1\""),
              std::string::npos)
        << server_.kept[session + "0"];
    EXPECT_EQ(*world_.store->part(leg(session).changed, "landing"),
              R"([{"location":"Observation/)" + session + R"(0/_history/1"},)" +
                  R"({"location":"Observation/)" + session + R"(1/_history/1"}])");
  }
  EXPECT_EQ(server_.creates, 4);
}

TEST_F(PiecesTest, TheNextOneThatLargeIsNotTriedAsAWhole) {
  server_.body_max = 500;
  add("s", 300);
  run();
  add("t", 300);
  run();
  EXPECT_EQ(state("t"), "landed");
  EXPECT_EQ(server_.log, "piece piece ");
  add("u", 10);
  run();
  EXPECT_EQ(server_.log, "whole ") << "a small one still goes as it is";
  boot();
  add("v", 300);
  run();
  EXPECT_EQ(server_.log, "whole piece piece ") << "after a start it is found out again";
}

TEST_F(PiecesTest, ACrashBetweenPiecesLeavesNothingOutAndNothingTwice) {
  server_.body_max = 500;
  for (int ms = 6; ms < 120; ms += 5) {
    const std::string session = "s" + std::to_string(ms);
    const int before = server_.creates;
    boot();
    add(session, 300, 6);
    run(ms);
    boot();
    run();
    EXPECT_EQ(state(session), "landed") << ms;
    EXPECT_EQ(server_.creates - before, 6) << ms;
  }
}

TEST_F(PiecesTest, OneResourceThatIsTooLargeIsNamedAndHeld) {
  server_.body_max = 100;
  add("s", 300);
  run();
  EXPECT_EQ(state("s"), "held too-large");
  EXPECT_NE(too_large_sentence(*world_.store, leg("s")).find("Observation urn:s1 ("),
            std::string::npos);
  EXPECT_EQ(server_.creates, 0);
  server_.body_max = 500;
  release("s");
  run();
  EXPECT_EQ(state("s"), "landed");
  EXPECT_EQ(server_.creates, 2);
  EXPECT_TRUE(world_.store->check_fold(10)->empty());
}

// What is missing was never sent; it would be called deleted if it had gone as one transaction.
TEST_F(PiecesTest, HowATryWentIsKnownWhenTheServerHasLearnedTransactions) {
  for (const bool crash : {false, true}) {
    const std::string session = crash ? "t" : "s";
    const int before = server_.creates;
    server_.takes_whole = false;
    server_.silent_at = 3;
    boot();
    add(session, 10, 4);
    if (crash) {
      run(40);
      boot();
    }
    run();
    EXPECT_EQ(state(session), "landed");
    EXPECT_EQ(server_.creates - before, 4);
    EXPECT_TRUE(server_.log.ends_with("whole ")) << server_.log;
    journal::Query query;
    query.session = session;
    query.kind = journal::Kind::kDispatched;
    const auto tries = world_.store->search(query);
    ASSERT_EQ(tries->size(), crash ? 3U : 2U);
    EXPECT_EQ(tries->front().reason, kInSteps);
    EXPECT_EQ(tries->back().reason, "");
  }
  EXPECT_TRUE(world_.store->check_fold(10)->empty());
}

// What lands can also be taken back later, although the one that never was there is too large.
TEST_F(PiecesTest, WhatDoesNotNeedAResourceThatIsTooLargeLandsWithoutIt) {
  server_.body_max = 500;
  add("s", 200, 6, 1'000);
  run();
  EXPECT_EQ(state("s"), "held too-large");
  EXPECT_TRUE(leg("s").uncertain);
  EXPECT_EQ(server_.creates, 4);
  EXPECT_EQ(server_.kept.count("s0") + server_.kept.count("s1"), 0U);
  EXPECT_NE(too_large_sentence(*world_.store, leg("s")).find("Observation urn:s1 ("),
            std::string::npos);
}

// Nothing of the second try landed; what the first one left is there all the same.
TEST_F(PiecesTest, WhatLandedInPartIsNotForgottenByALaterTry) {
  server_.body_max = 500;
  add("s", 200, 6, 1'000);
  run();
  release("s");
  run();
  EXPECT_EQ(server_.log, "piece ");
  EXPECT_EQ(state("s"), "held too-large");
  EXPECT_TRUE(leg("s").uncertain);
  server_.body_max = 5'000;
  release("s");
  run();
  EXPECT_EQ(state("s"), "landed");
  EXPECT_EQ(server_.creates, 6);
}

TEST_F(PiecesTest, AnEngineThatEndsBeforeTheFirstPieceLeavesNoDoubt) {
  server_.body_max = 500;
  add("s", 200, 6);
  run(6);
  boot();
  server_.body_max = 100;
  run();
  EXPECT_EQ(state("s"), "held too-large");
  EXPECT_EQ(server_.creates, 0);
  EXPECT_FALSE(leg("s").uncertain) << "all of it was looked for, and nothing found";
}

}  // namespace
}  // namespace engine::delivery
