#include "engine/web/who_may.h"

#include <future>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "engine/people/secrets.h"
#include "tests/journal/fixture.h"

namespace engine::web {
namespace {

using people::Right;

// "password" with the salt "somesalt", cheap: test vector of the Argon2 reference implementation
// (src/test.c, Argon2id version 19, 256 KiB).
constexpr const char* kPassword =
    "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4";

class OneByte final : public base::Random {
 public:
  void fill(std::span<std::uint8_t> bytes) override {
    for (std::uint8_t& byte : bytes) {
      byte = next_;
    }
    ++next_;
  }

 private:
  std::uint8_t next_ = 1;
};

class WhoMayTest : public ::testing::Test {
 protected:
  static people::People staff() {
    const std::string secret = std::string(" ") + kPassword + " ";
    auto people = people::People::parse("chartferry-people 1\nperson audrey auditor" + secret +
                                            "Audrey Sample\nperson dana therapist,auditor" +
                                            secret + "Dana Sample\nperson erin engineer" + secret +
                                            "Erin Example\nperson robin therapist" + secret +
                                            "Robin Sample\nsystem ward sender " +
                                            people::keep_secret("ward-token") + " Ward charting\n",
                                        "staff");
    EXPECT_TRUE(people.has_value());
    return std::move(*people);
  }
  std::string sign_in(const std::string& name) {
    std::promise<std::string> secret;
    gate_.sign_in({name, "password", "192.0.2.1"},
                  [&](const people::Gate::Outcome& outcome) { secret.set_value(outcome.secret); });
    return secret.get_future().get();
  }
  static Request request(const std::string& method, std::vector<Header> headers) {
    Request out;
    out.method = method;
    out.target = "/x";
    out.headers = std::move(headers);
    out.headers.push_back({"Host", "ward.example:8443"});
    return out;
  }
  // Status of the refusal; 0 for none.
  int status(Request request, Right right) {
    const auto refusal = who_may_.refuse(request, right);
    return refusal ? refusal->status : 0;
  }
  Header cookie(const std::string& name) {
    return {"Cookie", "a=b; " + std::string(kSignInCookie) + "=" + sign_in(name) + "; c=d"};
  }

  journal::SetClock clock_;
  OneByte random_;
  people::Gate gate_{staff(), clock_, random_};
  WhoMay who_may_{&gate_};
};

const Header kOwn{"Origin", "https://ward.example:8443"};
const Header kToken{"Authorization", "Bearer ward-token"};

TEST_F(WhoMayTest, AsksStrangersToSignIn) {
  const std::vector<std::vector<Header>> strangers = {
      {},
      {kOwn},
      {{"Cookie", ""}},
      {{"Cookie", std::string(kSignInCookie) + "="}},
      {{"Cookie", std::string(kSignInCookie) + "=" + std::string(64, '0')}},
      {{"Cookie", "x" + std::string(kSignInCookie) + "=" + sign_in("robin")}},
      {{"Authorization", "Bearer "}},
      {{"Authorization", "Bearer wrong"}},
      {{"Authorization", "Basic ward-token"}},
      {{"Authorization", "ward-token"}},
      // A wrong token is not made good by a cookie.
      {{"Authorization", "Bearer wrong"}, cookie("robin")},
  };
  for (const auto& headers : strangers) {
    Request one = request("GET", headers);
    const auto refusal = who_may_.refuse(one, Right::kFollow);
    ASSERT_TRUE(refusal.has_value());
    EXPECT_EQ(refusal->status, 401);
    EXPECT_NE(refusal->body.find("OperationOutcome"), std::string::npos);
    EXPECT_TRUE(one.caller.empty());
    EXPECT_EQ(status(request("GET", headers), Right::kOpen), 0);
  }
}

TEST_F(WhoMayTest, KnowsTheCallerByCookieOrToken) {
  Request person = request("GET", {cookie("robin")});
  EXPECT_FALSE(who_may_.refuse(person, Right::kReadRecord).has_value());
  EXPECT_EQ(person.caller, "Robin Sample (robin)");
  Request system = request("POST", {{"authorization", "bearer ward-token"}});
  EXPECT_FALSE(who_may_.refuse(system, Right::kSend).has_value());
  EXPECT_EQ(system.caller, "Ward charting (ward)");
}

TEST_F(WhoMayTest, SendsAwayWhoseRoleMayNot) {
  EXPECT_EQ(status(request("GET", {cookie("robin")}), Right::kMetrics), 403);
  EXPECT_EQ(status(request("GET", {cookie("audrey")}), Right::kReadWard), 403);
  EXPECT_EQ(status(request("GET", {kToken}), Right::kReadRecord), 403);
  EXPECT_EQ(status(request("POST", {cookie("erin"), kOwn}), Right::kSend), 403);
  EXPECT_EQ(status(request("POST", {cookie("erin"), kOwn}), Right::kChangeMapping), 0);
}

TEST_F(WhoMayTest, TakesChangesByCookieFromItsOwnPagesOnly) {
  const Header robin = cookie("robin");
  struct Row {
    std::vector<Header> headers;
    int status;
  };
  const std::vector<Row> table = {
      {{robin, kOwn}, 0},
      {{robin, {"Origin", "HTTPS://Ward.Example:8443"}}, 0},
      {{robin, {"Sec-Fetch-Site", "same-origin"}}, 0},
      {{robin, kOwn, {"Sec-Fetch-Site", "same-origin"}}, 0},
      {{robin}, 403},
      {{robin, {"Origin", "null"}}, 403},
      {{robin, {"Origin", "https://ward.example"}}, 403},
      {{robin, {"Origin", "https://ward.example:8443.evil.example"}}, 403},
      {{robin, {"Origin", "https://evil.example"}}, 403},
      {{robin, {"Origin", "ward.example:8443"}}, 403},
      {{robin, kOwn, {"Sec-Fetch-Site", "same-site"}}, 403},
      {{robin, {"Sec-Fetch-Site", "cross-site"}}, 403},
      {{kToken}, 0},
  };
  for (const Row& row : table) {
    EXPECT_EQ(status(request("POST", row.headers), Right::kSend), row.status)
        << (row.headers.size() > 1 ? row.headers[1].value : "alone");
  }
  EXPECT_EQ(status(request("GET", {robin}), Right::kFollow), 0) << "reading changes nothing";
}

TEST_F(WhoMayTest, WantsAReasonFromWhoDoesNotTreat) {
  const Header audrey = cookie("audrey");
  EXPECT_EQ(status(request("GET", {audrey}), Right::kReadRecord), 400);
  for (const char* blank : {"", "%20", "%C2%A0%20", "%E2%80%8B"}) {
    EXPECT_EQ(status(request("GET", {audrey, {"Read-Why", blank}}), Right::kReadRecord), 400)
        << blank;
  }
  EXPECT_EQ(status(request("GET", {audrey}), Right::kTraffic), 0) << "no patient's data";
  Request given =
      request("GET", {audrey, {"Read-Why", "complaint%20of%20a%20relative%2C%20M%C3%A4rz"}});
  EXPECT_FALSE(who_may_.refuse(given, Right::kReadRecord).has_value());
  EXPECT_EQ(given.why, "complaint of a relative, März");
  EXPECT_EQ(status(request("GET", {cookie("robin")}), Right::kReadRecord), 0) << "treats";
  EXPECT_EQ(status(request("GET", {cookie("dana")}), Right::kReadRecord), 0) << "treats, too";
  EXPECT_EQ(status(request("GET", {cookie("dana")}), Right::kReadLog), 400) << "as an auditor";
}

TEST_F(WhoMayTest, BoundsAReason) {
  const Header audrey = cookie("audrey");
  const std::string longest(base::limits::kReadWhyBytesMax, 'w');
  EXPECT_EQ(status(request("GET", {audrey, {"Read-Why", longest}}), Right::kReadRecord), 0);
  for (const std::string& bad : {longest + "w", std::string("two%0Alines"), std::string("%00"),
                                 std::string("%FF"), std::string("a\x7F")}) {
    EXPECT_EQ(status(request("GET", {audrey, {"Read-Why", bad}}), Right::kReadRecord), 400) << bad;
  }
}

// An answer that goes on is asked about as long as it does.
TEST_F(WhoMayTest, WatchesWhetherTheCallerStillMay) {
  const std::string secret = sign_in("robin");
  const Request person = request("GET", {{"Cookie", std::string(kSignInCookie) + "=" + secret}});
  const Request system = request("GET", {kToken});
  const auto robin = who_may_.watch(person, Right::kTraffic);
  const auto ward = who_may_.watch(system, Right::kSend);
  EXPECT_TRUE(robin());
  EXPECT_TRUE(ward());
  EXPECT_FALSE(who_may_.watch(person, Right::kMetrics)()) << "not with this role";
  EXPECT_FALSE(who_may_.watch(request("GET", {}), Right::kTraffic)());
  EXPECT_FALSE(who_may_.watch(request("GET", {{"Authorization", "B"}}), Right::kTraffic)());
  gate_.sign_out(secret);
  EXPECT_FALSE(robin());
  const std::string again = sign_in("robin");
  const auto second = who_may_.watch(
      request("GET", {{"Cookie", std::string(kSignInCookie) + "=" + again}}), Right::kTraffic);
  EXPECT_TRUE(second());
  auto nobody = people::People::parse("chartferry-people 1\n", "staff");
  gate_.renew(std::move(*nobody));
  EXPECT_FALSE(second());
  EXPECT_FALSE(ward());
  EXPECT_FALSE(WhoMay(nullptr).watch(person, Right::kTraffic)) << "there is nothing to watch";
}

TEST(WhoMay, WithoutAGateEverybodyMay) {
  const WhoMay who_may(nullptr);
  Request one;
  one.method = "POST";
  one.headers.push_back({"Read-Why", "looking"});
  EXPECT_FALSE(who_may.refuse(one, Right::kChangeMapping).has_value());
  EXPECT_TRUE(one.caller.empty());
  EXPECT_EQ(one.why, "looking");
}

}  // namespace
}  // namespace engine::web
