// What a refusal says of a revision of which something may be on the record server: nothing, unless
// it was looked for everywhere and not found.

#include <deque>
#include <functional>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "engine/journal/sent_bundles.h"
#include "tests/delivery/keeping_world.h"

namespace engine::delivery {
namespace {

enum class Post : std::uint8_t { kTaken, kErrorAfter, kPageAfter, kError, kPage, kRefused };

class DoubtTest : public ExchangeTest {
 protected:
  DoubtTest() {
    world_.peer.answer = [this](const Call& call) { return answer(call); };
  }

  Reply answer(const Call& call) {
    if (call.method == "GET" || !call.path.empty() || posts_.empty()) {
      return server_.answer(call);
    }
    const Post post = posts_.front();
    posts_.pop_front();
    Reply taken;
    if (post == Post::kTaken || post == Post::kErrorAfter || post == Post::kPageAfter) {
      taken = server_.answer(call);
    }
    if (const auto after = std::exchange(after_, {})) {
      after();
    }
    if (post == Post::kTaken) {
      return taken;
    }
    const bool page = post == Post::kPage || post == Post::kPageAfter;
    Reply reply = StillPeer::status(page ? 200 : post == Post::kRefused ? refusal_ : 500);
    reply.body = page ? "<!doctype html><html>" : refusal_text_;
    return reply;
  }
  static void edit(KeepingServer& server, const std::string& name) {
    server.edit("Observation/" + name, R"({"resourceType":"Observation","value":"theirs"})");
  }
  std::string value(const std::string& name) { return server_.kept["Observation/" + name].content; }

  std::deque<Post> posts_;  // then as the server does
  int refusal_ = 422;
  std::string refusal_text_;
  std::function<void()> after_;  // the next post
};

class Fresh final : public DoubtTest {
 public:
  using DoubtTest::after_;
  using DoubtTest::leg;
  using DoubtTest::part;
  using DoubtTest::posts_;
  using DoubtTest::refusal_;
  using DoubtTest::refusal_text_;
  using DoubtTest::send;
  using DoubtTest::server_;
  using DoubtTest::state;
  using DoubtTest::steer;
  using DoubtTest::value;
  using DoubtTest::world_;

 private:
  void TestBody() override {}
};

TEST_F(DoubtTest, WhatWasTakenAndIsRefusedWhenSentAgainHasLanded) {
  send(1, entry("a", "1", false));
  posts_ = {Post::kErrorAfter, Post::kRefused};
  send(2, entry("a", "2", true) + "," + entry("b", "2", true));
  EXPECT_EQ(state(2), "landed");
  EXPECT_EQ(server_.kept["Observation/a"].version, 2) << "written once";
  EXPECT_EQ(part(2, "landing"), R"([{"location":"Observation/a","etag":"W/\"2\""},)"
                                R"({"location":"Observation/b","etag":"W/\"1\""}])");
}

// A later revision must not think that this one never landed.
TEST_F(DoubtTest, ARefusalLeavesOpenWhatItDoesNotSettle) {
  struct Row {
    const char* name;
    int refusal;
    const char* text;
    void (*after)(KeepingServer&);  // the first try
    const char* state;
  };
  const Row table[] = {
      {"an update that somebody changed since", 422, "",
       [](KeepingServer& server) { edit(server, "a"); }, "held refused"},
      {"a create that somebody changed since", 422, "",
       [](KeepingServer& server) { edit(server, "b"); }, "held refused"},
      {"a server that shows nothing", 422, "",
       [](KeepingServer& server) { server.readable = false; }, "held refused"},
      {"that is tried again by itself", 422,
       R"({"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"not-found"}]})",
       [](KeepingServer& server) { server.readable = false; }, "held unknown-reference"},
      {"forbidden", 403, "", [](KeepingServer& server) { server.readable = false; },
       "held forbidden"},
  };
  for (const Row& row : table) {
    Fresh fresh;
    fresh.send(1, entry("a", "1", false));
    fresh.posts_ = {Post::kErrorAfter, Post::kRefused, Post::kRefused, Post::kRefused};
    fresh.refusal_ = row.refusal;
    fresh.refusal_text_ = row.text;
    fresh.after_ = [&] {
      row.after(fresh.server_);
      // Before the second try what is to be written over is looked at.
      fresh.after_ = [&, readable = std::exchange(fresh.server_.readable, true)] {
        fresh.server_.readable = readable;
      };
    };
    fresh.send(2, entry("a", "2", true) + "," + entry("b", "2", true));
    EXPECT_EQ(fresh.state(2), row.state) << row.name;
    EXPECT_TRUE(fresh.leg(2).uncertain) << row.name;
    fresh.send(3, entry("a", "3", true));
    EXPECT_EQ(fresh.leg(2).state, journal::LegState::kHeld) << row.name;
    EXPECT_TRUE(fresh.world_.store->check_fold(10)->empty()) << row.name;
  }
}

TEST_F(DoubtTest, SentToOthersIsWhatCameBeforeATargetWasThere) {
  using journal::LegState;
  const auto leg = [](std::uint32_t revision, const char* target, LegState state,
                      bool uncertain = false) {
    journal::Leg out;
    out.revision = revision;
    out.target = target;
    out.state = state;
    out.bundle = revision;
    out.uncertain = uncertain;
    return out;
  };
  const auto found_in = [&](const std::vector<journal::Leg>& legs) {
    std::string found;
    const auto others =
        journal::sent_to_others(*world_.store, leg(4, "new", LegState::kAccepted), legs);
    EXPECT_TRUE(others.has_value());
    for (const journal::Leg& one : *others) {
      found += std::to_string(one.revision) + " ";
    }
    return found;
  };
  struct Row {
    const char* name;
    std::vector<journal::Leg> legs;  // and revision 4 for "new"
    std::string found;
  };
  const Row table[] = {
      {"landed, and may have",
       {leg(1, "old", LegState::kLanded), leg(2, "old", LegState::kHeld, true),
        leg(3, "old", LegState::kWithdrawn, true)},
       "1 2 3 "},
      {"surely never left",
       {leg(1, "old", LegState::kHeld), leg(2, "old", LegState::kSuperseded),
        leg(3, "old", LegState::kWithdrawn)},
       ""},
      {"since the target was there",
       {leg(1, "old", LegState::kLanded), leg(2, "new", LegState::kHeld),
        leg(3, "old", LegState::kLanded)},
       ""},
      {"and what was made for it went nowhere",
       {leg(1, "old", LegState::kLanded), leg(2, "new", LegState::kSuperseded),
        leg(3, "old", LegState::kLanded)},
       "1 "},
      {"or may have",
       {leg(1, "old", LegState::kLanded), leg(2, "new", LegState::kWithdrawn, true)},
       "1 "},
  };
  for (const Row& row : table) {
    EXPECT_EQ(found_in(row.legs), row.found) << row.name;
  }
  // By its condition the earlier ones were not for it.
  for (const auto& [targets, found] : {std::pair("old,new", ""), std::pair("old", "1 ")}) {
    journal::Record start;
    start.kind = journal::Kind::kStarted;
    start.targets = targets;
    world_.write(journal::Change(start));
    EXPECT_EQ(found_in({leg(1, "old", LegState::kLanded)}), found) << targets;
  }
}

TEST_F(DoubtTest, WhatWasNeverTakenAndIsRefusedIsInNoDoubt) {
  posts_ = {Post::kError, Post::kRefused};
  send(1, entry("a", "1", false) + "," + provenance("p"));
  EXPECT_EQ(state(1), "held refused");
  EXPECT_FALSE(leg(1).uncertain) << "neither is there";
  send(2, entry("a", "2", false) + "," + entry("b", "2", false));
  EXPECT_EQ(leg(1).state, journal::LegState::kSuperseded);
  EXPECT_EQ(state(2), "landed");
  posts_ = {Post::kError, Post::kRefused};
  send(3, entry("a", "3", true) + "," + entry("b", "3", true));
  EXPECT_EQ(state(3), "held refused");
  EXPECT_FALSE(leg(3).uncertain) << "what it writes over stands as it landed";
  posts_ = {Post::kRefused};
  send(4, entry("a", "4", true));
  EXPECT_EQ(leg(3).state, journal::LegState::kSuperseded);
  EXPECT_FALSE(leg(4).uncertain) << "sent once, and refused";
}

TEST_F(DoubtTest, WhatLeftAsAnotherBundleStaysInDoubtWhenTheNextOneIsRefused) {
  posts_ = {Post::kPageAfter, Post::kRefused, Post::kRefused};
  send(1, entry("a", "1", false));
  EXPECT_EQ(state(1), "held html-answer");
  const journal::Position first = leg(1).bundle;
  steer(1, journal::Kind::kRemapped);
  make(1, entry("a", "2", true) + "," + entry("b", "2", false));
  EXPECT_EQ(state(1), "held refused");
  EXPECT_TRUE(leg(1).uncertain);
  steer(1, journal::Kind::kRemapped);
  make(1, entry("a", "3", true) + "," + entry("b", "3", false));
  EXPECT_EQ(*journal::earlier_bundles_in_doubt(*world_.store, leg(1)), std::vector{first})
      << "the second one was refused, and is not there";
  // Its bundle is gone, and cannot be sent.
  steer(1, journal::Kind::kRemapped);
  make(1, "");
  EXPECT_EQ(state(1), "held bundle-unreadable");
  EXPECT_TRUE(leg(1).uncertain);
  send(2, entry("a", "4", true));
  EXPECT_EQ(leg(1).state, journal::LegState::kHeld);
  steer(1, journal::Kind::kWithdrawn);
  make(2, entry("a", "4", true));
  EXPECT_EQ(state(2), "landed") << "the first one is found, and written over";
  EXPECT_NE(value("a").find("\"4\""), std::string::npos);
}

// Nobody knew of the first revision that it had landed; what is left of it tells.
TEST_F(DoubtTest, WhatIsMissingOfWhatLandedWholeWasDeletedAlsoBehindARevisionInDoubt) {
  for (const bool answer_lost : {false, true}) {
    Fresh fresh;
    fresh.posts_ = {Post::kPageAfter};
    fresh.send(1, entry("a", "1", false) + "," + entry("b", "1", false));
    fresh.steer(1, journal::Kind::kWithdrawn);
    const auto remove = [&fresh] { fresh.server_.edit("Observation/b", ""); };
    if (answer_lost) {
      fresh.posts_ = {Post::kErrorAfter};
      fresh.after_ = remove;
    } else {
      remove();
    }
    fresh.send(2, entry("a", "2", false) + "," + entry("b", "2", false));
    EXPECT_EQ(fresh.state(2), "held changed-elsewhere") << answer_lost;
    EXPECT_EQ(fresh.value("b"), "") << answer_lost;
    EXPECT_EQ(fresh.part(2, "conflict"),
              R"([{"fullUrl":"urn:b","resource":"Observation?identifier=b","gone":true}])");
    fresh.steer(2, journal::Kind::kReleased);
    EXPECT_EQ(fresh.state(2), "landed") << answer_lost;
    EXPECT_NE(fresh.value("a").find("\"2\""), std::string::npos);
    EXPECT_NE(fresh.value("b").find("\"2\""), std::string::npos);
  }
}

TEST_F(DoubtTest, WhatIsMissingNeedNotHaveBeenThere) {
  // What landed is the first revision, which says the same of one.
  posts_ = {Post::kPageAfter};
  send(1, entry("a", "1", false));
  steer(1, journal::Kind::kWithdrawn);
  posts_ = {Post::kError};
  send(2, entry("a", "1", false) + "," + entry("b", "2", false));
  EXPECT_EQ(state(2), "landed");
}

TEST_F(DoubtTest, WhatStandsAsItLandedTellsNothingOfARevisionThatSaysTheSame) {
  send(1, entry("a", "1", false));
  posts_ = {Post::kPage};
  send(2, entry("a", "1", true) + "," + entry("b", "2", false));
  steer(2, journal::Kind::kWithdrawn);
  send(3, entry("a", "1", true) + "," + entry("b", "3", false));
  EXPECT_EQ(state(3), "landed");
}

// It was too large, and ended after its first piece.
TEST_F(DoubtTest, OfWhatWentInPiecesSomeMayNeverHaveBeenThere) {
  refusal_ = 413;
  posts_ = {Post::kRefused, Post::kPage};
  send(1, entry("a", "1", false) + "," + entry("b", "1", false));
  EXPECT_EQ(state(1), "held html-answer");
  server_.edit("Observation/a",
               R"({"resourceType":"Observation","identifier":[{"value":"a"}],"value":"1"})");
  steer(1, journal::Kind::kWithdrawn);
  courier_ = world_.courier();  // knows of no size that was too large
  send(2, entry("a", "2", false) + "," + entry("b", "2", false));
  EXPECT_EQ(state(2), "landed");
}

TEST_F(DoubtTest, OnlyWhatWasLookedForEverywhereIsNotThere) {
  for (const bool carried : {true, false}) {
    posts_ = {Post::kPage, Post::kRefused};
    const std::uint32_t revision = carried ? 1 : 2;
    const std::string other = "," + entry("b", "1", false);
    send(revision, entry("a", "1", false) + other);
    EXPECT_TRUE(leg(revision).uncertain);
    steer(revision, journal::Kind::kRemapped);
    make(revision, entry("a", "2", true) + (carried ? other : ""));
    EXPECT_EQ(state(revision), "held refused");
    EXPECT_EQ(leg(revision).uncertain, !carried);
  }
  EXPECT_EQ(leg(1).state, journal::LegState::kSuperseded);
}

TEST_F(DoubtTest, TriesThatAreUsedUpSettleNothing) {
  posts_ = {Post::kErrorAfter};
  posts_.resize(100, Post::kRefused);
  refusal_ = 423;
  server_.readable = false;
  send(1, entry("a", "1", false));
  world_.loop.run_until(world_.clock.ms + 600'000);
  EXPECT_EQ(state(1), "held locked");
  EXPECT_TRUE(leg(1).uncertain);
}

}  // namespace
}  // namespace engine::delivery
