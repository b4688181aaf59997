// Reconciling without a network: what a location names, and what an answer proves.

#include "engine/replay/reconcile.h"

#include <functional>
#include <map>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/delivery/location.h"
#include "engine/journal/sqlite_store.h"
#include "tests/journal/fixture.h"

namespace engine::replay {
namespace {

using delivery::Reply;
using journal::Change;
using journal::Kind;

TEST(Reconcile, ReadsLocationsAsServersWriteThem) {
  EXPECT_EQ(delivery::resource_of("Observation/17/_history/3"), "Observation/17");
  EXPECT_EQ(delivery::resource_of("Observation/17"), "Observation/17");
  EXPECT_EQ(delivery::resource_of("https://records.example/fhir/Procedure/a-1.b/_history/1"),
            "Procedure/a-1.b");
  for (const char* wrong :
       {"", "17", "/", "Observation/", "/17", "Observation/..", "Observation/a b",
        "Observation/17?_format=xml", "Obs-1/17", "Observation/a%2Fb",
        "Observation/aaaaaaaaaabbbbbbbbbbccccccccccddddddddddeeeeeeeeeeffffffffff12345"}) {
    EXPECT_EQ(delivery::resource_of(wrong), "") << wrong;
  }
}

class ReconcileTest : public ::testing::Test {
 protected:
  void SetUp() override {
    auto opened = journal::open_sqlite_store({folder_.file("journal"), journal::OpenMode::kEngine});
    ASSERT_TRUE(opened.has_value());
    store_ = std::move(*opened);
  }
  static std::string entry(const std::string& name, const std::string& value) {
    const std::string identifier = R"("identifier":[{"system":"urn:s","value":")" + name + "\"}]";
    return R"({"fullUrl":"urn:)" + name + R"(","resource":{"resourceType":"Observation",)" +
           identifier + R"(,"value":")" + value +
           R"("},"request":{"method":"POST","url":"Observation",)" +
           R"("ifNoneExist":"identifier=urn:s|)" + name + "\"}}";
  }
  void land(std::uint32_t revision, const std::string& entries, const std::string& landing,
            Kind last = Kind::kLanded) {
    for (const Kind kind : {Kind::kAccepted, Kind::kChecked, Kind::kDispatched, Kind::kLanded}) {
      Change change(journal::record_of(kind, "s", revision));
      if (kind == Kind::kChecked) {
        change.parts.push_back(journal::to_stored(
            journal::Part("bundle", R"({"resourceType":"Bundle","entry":[)" + entries + "]}")));
      }
      if (kind == Kind::kLanded) {
        change.parts.push_back(journal::to_stored(journal::Part("landing", landing)));
      }
      ASSERT_TRUE(journal::write(*store_, clock_, std::move(change)).has_value());
      if (kind == last) {
        return;
      }
    }
  }
  static std::string resource(const std::string& id, const std::string& name,
                              const std::string& value) {
    return R"({"resourceType":"Observation","id":")" + id +
           R"(","identifier":[{"system":"urn:s","value":")" + name + R"("}],"value":")" + value +
           "\"}";
  }
  // The places of a server: status, ETag, content. Searches find by identifier.
  struct There {
    int status = 200;
    std::string etag;
    std::string content;
  };
  using Server = std::map<std::string, There>;
  static std::string found_by(const Server& server, const std::string& query) {
    const std::string name = query.substr(query.rfind("%7C") + 3);
    for (const auto& [place, one] : server) {
      if (one.content.find("\"value\":\"" + name + "\"}]") != std::string::npos) {
        return R"({"resourceType":"Bundle","type":"searchset","entry":[{"resource":)" +
               one.content + "}]}";
      }
    }
    return R"({"resourceType":"Bundle","type":"searchset"})";
  }
  base::Result<ReconcileReport> ask(const Server& server,
                                    const ReconcileQuery& query = {"main", "", ""}) {
    asked_.clear();
    return reconcile(*store_, query, [&](const delivery::Call& call) {
      asked_.push_back(call.path);
      if (asking_) {
        asking_();
      }
      Reply reply;
      if (call.path.ends_with("/_search")) {
        reply.status = 200;
        reply.body = found_by(server, call.body);
        return reply;
      }
      const auto there = server.find(call.path.substr(1));
      reply.status = there != server.end() ? there->second.status : 404;
      if (there != server.end()) {
        reply.body = there->second.content;
        reply.headers.emplace_back("etag", there->second.etag);
      }
      return reply;
    });
  }
  // "changed W/"2"": the one drift.
  std::string drift(const Server& server) {
    const auto report = ask(server);
    if (!report || report->drifts.size() > 1) {
      return "?";
    }
    static constexpr const char* kWords[] = {"gone", "changed", "other", "unknown"};
    return report->drifts.empty() ? "same"
                                  : std::string(kWords[static_cast<int>(report->drifts[0].kind)]) +
                                        " " + report->drifts[0].found;
  }

  journal::TemporaryFolder folder_;
  journal::SetClock clock_;
  std::unique_ptr<journal::Store> store_;
  std::vector<std::string> asked_;
  std::function<void()> asking_;
};

constexpr const char* kFirst = R"([{"location":"Observation/1/_history/1","etag":"W/\"1\""}])";
constexpr const char* kSecond = R"([{"location":"Observation/1/_history/2","etag":"W/\"2\""}])";

TEST_F(ReconcileTest, TheLatestLandingOfAResourceCounts) {
  land(1, entry("a", "1") + "," + entry("b", "1") + "," + entry("c", "1"),
       R"([{"location":"Observation/1/_history/1","etag":"W/\"1\""},{},{"notSent":true}])");
  land(2, entry("a", "2"), kSecond);
  const auto report = ask({{"Observation/1", {200, "W/\"2\"", resource("1", "a", "2")}}});
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(asked_, std::vector<std::string>{"/Observation/1"});
  EXPECT_EQ(report->same, 1U);
  EXPECT_EQ(report->drifted, 0U);
  EXPECT_EQ(report->unnamed, 1U);
}

TEST_F(ReconcileTest, TellsGoneFromChangedFromOtherFromUnknown) {
  land(1, entry("a", "1"), kFirst);
  const auto at = [](int status, const std::string& etag, const std::string& content) {
    return Server{{"Observation/1", {status, etag, content}}};
  };
  const std::string ours = resource("1", "a", "1");
  EXPECT_EQ(drift(at(200, "W/\"1\"", ours)), "same");
  EXPECT_EQ(drift(at(200, "\"1\"", ours)), "same") << "strong or weak";
  EXPECT_EQ(drift(at(200, "", ours)), "same") << "by its content";
  EXPECT_EQ(drift({}), "gone HTTP 404");
  EXPECT_EQ(drift(at(410, "", "")), "gone HTTP 410");
  EXPECT_EQ(drift(at(200, "W/\"2\"", resource("1", "a", "9"))), "changed W/\"2\"");
  EXPECT_EQ(drift(at(200, "", resource("1", "a", "9"))), "changed HTTP 200");
  EXPECT_EQ(drift(at(200, "W/\"1\"", resource("1", "z", "1"))), "other W/\"1\"")
      << "an id and a version are no proof";
  EXPECT_EQ(drift(at(500, "", "")), "unknown HTTP 500");
  EXPECT_EQ(drift({{"Observation/1", {404, "", ""}},
                   {"Observation/7", {200, "W/\"1\"", resource("7", "a", "9")}}}),
            "changed Observation/7");
}

TEST_F(ReconcileTest, WhatHasAnotherIdIsFoundByItsIdentifier) {
  land(1, entry("a", "1"), kFirst);
  const auto report = ask({{"Observation/1", {200, "W/\"1\"", resource("1", "z", "1")}},
                           {"Observation/7", {200, "W/\"1\"", resource("7", "a", "1")}}});
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->same, 1U);
  EXPECT_EQ(report->moved, 1U);
}

TEST_F(ReconcileTest, WhatWasMadeAnewElsewhereStandsForWhatWasThere) {
  land(1, entry("a", "1"), kFirst);
  land(2, entry("a", "2"), R"([{"location":"Observation/9","etag":"W/\"1\""}])");
  EXPECT_EQ(drift({{"Observation/1", {410, "", ""}},
                   {"Observation/9", {200, "W/\"1\"", resource("9", "a", "2")}}}),
            "same");
}

TEST_F(ReconcileTest, TheRangeChoosesWhatIsAskedForAndNotWhatItShouldBe) {
  land(1, entry("a", "1"), kFirst);
  clock_.set(std::chrono::seconds(1'800'000'100));
  land(2, entry("a", "2") + "," + entry("b", "2"),
       R"([{"location":"Observation/1","etag":"W/\"2\""},{"location":"Observation/2"}])");
  const auto report = ask({{"Observation/1", {200, "W/\"2\"", resource("1", "a", "2")}}},
                          {"main", "", "2027-01-15T08:00:50.000Z"});
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->resources, 1U);
  EXPECT_EQ(report->drifted, 0U);
}

TEST_F(ReconcileTest, WhatAnEngineDoesMeanwhileIsNoDrift) {
  land(1, entry("a", "1"), kFirst);
  Server server{{"Observation/1", {200, "W/\"2\"", resource("1", "a", "2")}}};
  asking_ = [this] {
    if (asked_.size() == 1) {
      land(2, entry("a", "2"), kSecond);
    }
  };
  EXPECT_EQ(drift(server), "same");
  server["Observation/1"].etag = "W/\"3\"";
  asking_ = [this] {
    if (asked_.size() == 1) {
      land(3, entry("a", "3"), "", Kind::kDispatched);
    }
  };
  const auto report = ask(server);
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->drifted, 0U);
  EXPECT_EQ(report->under_way, 1U);
}

TEST_F(ReconcileTest, AServerThatLetsNobodyReadOrIsBusyProvesNothing) {
  land(1, entry("a", "1"), kFirst);
  for (const int status : {401, 403, 429, 503}) {
    const auto report = ask({{"Observation/1", {status, "", ""}}});
    ASSERT_FALSE(report.has_value());
    EXPECT_EQ(report.error().code, base::ErrorCode::kPeer);
  }
}

TEST_F(ReconcileTest, WhatCannotBeReadIsCountedAndTheRestIsAskedFor) {
  land(1, entry("a", "1"), "no list");
  land(2, entry("b", "1"), kFirst);
  const auto report = ask({{"Observation/1", {200, "W/\"1\"", resource("1", "b", "1")}}});
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->unreadable, 1U);
  EXPECT_EQ(report->same, 1U);
}

}  // namespace
}  // namespace engine::replay
