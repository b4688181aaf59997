// What is to be taken back and never was on the record server: it is not put there.

#include <deque>
#include <string>

#include <gtest/gtest.h>

#include "tests/delivery/keeping_world.h"

namespace engine::delivery {
namespace {

class NeverThereTest : public ExchangeTest {
 protected:
  NeverThereTest() {
    world_.peer.answer = [this](const Call& call) {
      if (call.method == "POST" && call.path.empty() && server_.too_large == 0 && pages_ > 0) {
        --pages_;
        Reply page = StillPeer::status(200);
        page.body = "<html>";
        return page;
      }
      return server_.answer(call);
    };
  }

  static std::string taken_back(const std::string& name, const std::string& more = "") {
    std::string out = entry(name, "1", true);
    out.insert(out.find(R"("value":"1")"), R"("status":"entered-in-error",)" + more);
    return out;
  }
  static std::string about(const std::string& id, const std::string& targets) {
    std::string out = provenance(id);
    out.insert(out.find("},\"request\""), ",\"target\":[" + targets + "]");
    return out;
  }
  static std::string to(const std::string& name) { return R"({"reference":"urn:)" + name + "\"}"; }
  // Of the first revision, which nobody knows the fate of, this is there.
  void arrived(const std::string& name) {
    server_.edit(
        "Observation/" + name,
        R"({"resourceType":"Observation","identifier":[{"value":")" + name + R"("}],"value":"1"})");
  }
  std::string content(const std::string& place) {
    const auto found = server_.kept.find(place);
    return found == server_.kept.end() ? "none" : found->second.content;
  }
  void give_up_in_doubt(const std::string& entries) {
    pages_ = 1;
    send(1, entries);
    EXPECT_EQ(state(1), "held html-answer");
    steer(1, journal::Kind::kWithdrawn);
  }
  // A transaction is there whole or not at all; in pieces some of it may be.
  void in_pieces(const std::string& entries) {
    server_.too_large = 1;
    give_up_in_doubt(entries);
    courier_ = world_.courier();  // knows of no size that was too large
  }

  int pages_ = 0;
};

TEST_F(NeverThereTest, ASessionThatNeverArrivedIsNotPutThereToTakeItBack) {
  give_up_in_doubt(entry("a", "1", false) + "," + entry("b", "1", false) + "," + provenance("p"));
  send(2, taken_back("a") + "," + taken_back("b") + "," + about("q", to("a") + "," + to("b")));
  EXPECT_EQ(state(2), "landed");
  EXPECT_EQ(world_.store->search({})->back().reason, kNothingToSend);
  EXPECT_TRUE(server_.kept.empty());
  EXPECT_EQ(part(2, "landing"), R"([{"notSent":true},{"notSent":true},{"notSent":true}])");
}

TEST_F(NeverThereTest, WhatIsThereIsTakenBackAndTheRestNotMade) {
  in_pieces(entry("a", "1", false) + "," + entry("b", "1", false));
  arrived("a");
  server_.lose_answers = 1;
  send(2, taken_back("a") + "," + taken_back("b") + "," + about("q", to("b") + "," + to("a")));
  EXPECT_EQ(state(2), "landed") << "also when its first answer is lost: " << part(2, "conflict");
  EXPECT_NE(content("Observation/a").find("entered-in-error"), std::string::npos);
  EXPECT_EQ(server_.kept["Observation/a"].version, 2);
  EXPECT_EQ(content("Observation/b"), "none");
  EXPECT_NE(content("Provenance/q").find(R"("target":[{"reference":"Observation/a"}])"),
            std::string::npos)
      << content("Provenance/q");
}

TEST_F(NeverThereTest, WhatIsReferredToIsMade) {
  in_pieces(entry("a", "1", false) + "," + entry("b", "1", false) + "," + entry("c", "1", false));
  arrived("a");
  send(2, taken_back("a", R"("derivedFrom":[)" + to("b") + "],") + "," +
              taken_back("b", R"("partOf":[)" + to("c") + "],") + "," + taken_back("c"));
  EXPECT_EQ(state(2), "landed");
  EXPECT_NE(content("Observation/b"), "none");
  EXPECT_NE(content("Observation/c"), "none");
}

TEST_F(NeverThereTest, WhatGoesOnIsSent) {
  give_up_in_doubt(entry("a", "1", false) + "," + entry("b", "1", false));
  send(2,
       taken_back("a") + "," + entry("b", "1", true) + "," + about("q", to("a") + "," + to("b")));
  EXPECT_EQ(state(2), "landed");
  EXPECT_EQ(content("Observation/a"), "none");
  EXPECT_NE(content("Observation/b"), "none");
  send(3, entry("a", "3", true));
  EXPECT_EQ(state(3), "landed") << "it is said again";
  EXPECT_NE(content("Observation/a").find("\"3\""), std::string::npos);
  EXPECT_NE(server_.last_body.find(R"("ifNoneExist":"identifier=a")"), std::string::npos)
      << "which cannot write over anything: " << server_.last_body;
}

TEST_F(NeverThereTest, WhatLandedAndWasDeletedIsForAPerson) {
  send(1, entry("a", "1", false) + "," + entry("b", "1", false));
  pages_ = 1;
  send(2, entry("a", "2", true));
  steer(2, journal::Kind::kWithdrawn);
  server_.edit("Observation/b", "");
  send(3, taken_back("a") + "," + taken_back("b"));
  EXPECT_EQ(state(3), "held changed-elsewhere");
}

}  // namespace
}  // namespace engine::delivery
