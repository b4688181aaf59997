// Sending again without a network: what may only go after a look at what is there.

#include "engine/replay/resend.h"

#include <memory>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "engine/delivery/exchange.h"
#include "engine/journal/sqlite_store.h"
#include "tests/journal/fixture.h"

namespace engine::replay {
namespace {

using journal::Change;
using journal::Kind;

constexpr const char* kCreate =
    R"({"fullUrl":"urn:uuid:1","resource":{"resourceType":"Observation",)"
    R"("identifier":[{"value":"1"}]},"request":{"method":"POST",)"
    R"("url":"Observation","ifNoneExist":"identifier=1"}})";
constexpr const char* kUpdate =
    R"({"fullUrl":"urn:uuid:2","resource":{"resourceType":"Observation",)"
    R"("identifier":[{"value":"2"}]},"request":{"method":"PUT","url":"Observation?identifier=2"}})";
constexpr const char* kOfOurId = R"({"fullUrl":"urn:uuid:3","resource":{"resourceType":"Device"},)"
                                 R"("request":{"method":"PUT","url":"Device/3"}})";
constexpr const char* kProvenance =
    R"({"fullUrl":"urn:uuid:4","resource":{"resourceType":"Provenance"},)"
    R"("request":{"method":"PUT","url":"Provenance/4"}})";

class ResendTest : public ::testing::Test {
 protected:
  void SetUp() override {
    store_ = std::move(*journal::open_sqlite_store({":memory:", journal::OpenMode::kEngine}));
  }
  void land(const std::string& session, std::uint32_t revision,
            const std::vector<std::string>& entries, const std::string& reason = "") {
    std::string bundle = R"({"resourceType":"Bundle","type":"transaction","entry":[)";
    for (const std::string& entry : entries) {
      bundle += (bundle.back() == '[' ? "" : ",") + entry;
    }
    bundle += "]}";
    for (const Kind kind : {Kind::kAccepted, Kind::kChecked, Kind::kDispatched, Kind::kLanded}) {
      Change change(journal::record_of(kind, session, revision));
      change.record.reason = kind == Kind::kLanded ? reason : "";
      if (kind == Kind::kChecked) {
        change.parts.push_back(journal::to_stored(journal::Part("bundle", bundle)));
      }
      ASSERT_TRUE(journal::write(*store_, clock_, std::move(change)).has_value());
    }
  }
  // How each landing went: "sent", or "looked" with how many earlier and later bundles it knew.
  std::string ways() {
    std::string out;
    const auto said = [&out](const std::string& word) { out += (out.empty() ? "" : ", ") + word; };
    ResendWay way;
    way.post = [&](const std::string&, bool) {
      said("sent");
      return delivery::Reply(delivery::Reply::Fate::kNotSent, "nobody there");
    };
    way.exchange = [&](const delivery::Consignment& consignment) {
      said("looked " + std::to_string(consignment.given_up.size()) + "/" +
           std::to_string(consignment.later.size()));
      return delivery::Conclusion();
    };
    way.get = [&](const std::string& path) {
      EXPECT_EQ(path, "/Provenance/4");
      delivery::Reply reply;
      reply.status = provenance_;
      return reply;
    };
    ResendQuery query;
    query.target = "main";
    const auto plan = plan_resend(*store_, query);
    for (journal::Position at = 0; plan && at < plan->last;) {
      query.range.after = at;
      const auto report = resend(*store_, query, way, {});
      at = report.complete() ? plan->last : report.stopped_at;
    }
    return out;
  }

  int provenance_ = 404;  // how the server answers for it
  journal::SetClock clock_;
  std::unique_ptr<journal::Store> store_;
};

TEST_F(ResendTest, WhatOnlyCreatesGoesAsItIs) {
  land("a", 1, {kCreate, kProvenance});
  EXPECT_EQ(ways(), "sent");
}

// Somebody may have changed it since.
TEST_F(ResendTest, WhatWasSentThereBeforeIsLookedAt) {
  land("a", 1, {kCreate, kProvenance});
  for (const int status : {200, 410}) {
    provenance_ = status;
    EXPECT_EQ(ways(), "looked 0/0") << status;
  }
}

TEST_F(ResendTest, AFirstRevisionThatChangesSomethingLooksFirst) {
  land("a", 1, {kCreate, kUpdate, kProvenance});
  land("b", 1, {kProvenance, kOfOurId});
  EXPECT_EQ(ways(), "looked 0/0, looked 0/0");
}

TEST_F(ResendTest, WhatLandedWithNothingIsNotSent) {
  land("a", 1, {}, delivery::kNothingToSend);
  land("b", 1, {kCreate});
  EXPECT_EQ(ways(), "sent");
}

TEST_F(ResendTest, KnowsWhatEarlierAndLaterRevisionsSent) {
  land("a", 1, {kUpdate});
  land("a", 2, {kUpdate});
  land("a", 3, {kUpdate});
  EXPECT_EQ(ways(), "looked 0/2, looked 1/1, looked 2/0");
}

}  // namespace
}  // namespace engine::replay
