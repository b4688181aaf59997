// Targets that are not in the configuration, or were not for a while.

#include "engine/delivery/away.h"

#include <string>

#include <gtest/gtest.h>

#include "engine/intake/steering.h"
#include "tests/delivery/still_world.h"

namespace engine::delivery {
namespace {

using journal::Kind;
using journal::LegState;

class AwayTest : public ::testing::Test {
 protected:
  void start(const std::string& targets, const std::string& actor = "chartferry 1") {
    journal::Record record;
    record.kind = Kind::kStarted;
    record.targets = targets;
    record.actor = actor;
    world_.write(journal::Change(record));
  }
  void accept(const std::string& session, std::uint32_t revision, const std::string& targets,
              const std::string& reason = "") {
    journal::Record record;
    record.kind = Kind::kAccepted;
    record.session = session;
    record.revision = revision;
    record.targets = targets;
    record.patient = "p-" + session;
    record.content = std::to_string(revision);
    record.reason = reason;
    world_.write(journal::Change(record));
  }
  void about(Kind kind, const std::string& session, std::uint32_t revision,
             const std::string& reason = "", const std::string& target = "b") {
    journal::Record record;
    record.kind = kind;
    record.session = session;
    record.revision = revision;
    record.target = target;
    record.patient = "p-" + session;
    record.reason = reason;
    world_.write(journal::Change(record));
  }
  // As an engine does that starts with the target "b".
  std::size_t come_back() {
    const auto since = away_since(*world_.store, "b", world_.clock);
    const auto written = *since ? catch_up(*world_.store, world_.clock, "b", **since, "chartferry")
                                : base::Result<std::size_t>(0);
    start("a,b");
    return *written;
  }
  // "1 landed, 3 accepted": of target b.
  std::string legs(const std::string& session) {
    std::string out;
    const auto all = world_.store->legs(session);
    for (const journal::Leg& leg : *all) {
      if (leg.target == "b") {
        out += (out.empty() ? "" : ", ") + std::to_string(leg.revision) + " " +
               std::string(journal::name_of(leg.state));
      }
    }
    return out;
  }

  StillWorld world_;
};

TEST_F(AwayTest, WhatStandsElsewhereGoesThereTooWhenATargetComesBack) {
  start("a,b");
  for (const char* session :
       {"landed", "open", "held", "doubt", "given-up", "whole", "corrected", "undone"}) {
    accept(session, 1, "a,b");
  }
  about(Kind::kLanded, "corrected", 1);
  about(Kind::kLanded, "undone", 1);
  about(Kind::kLanded, "landed", 1);
  about(Kind::kHeld, "held", 1, "refused");
  about(Kind::kWithdrawn, "given-up", 1);
  about(Kind::kLanded, "whole", 1);
  start("a");
  for (const char* session : {"landed", "open", "held", "given-up"}) {
    accept(session, 2, "a");
    accept(session, 3, "a");
  }
  accept("new", 1, "a");
  accept("new", 2, "a");
  start("a");
  for (const std::uint32_t revision : {2U, 3U}) {
    accept("corrected", revision, "a");
    accept("undone", revision, "a");
  }
  about(Kind::kHeld, "corrected", 2, "refused", "a");
  accept("corrected", 4, "a");  // supersedes 2, if only there
  about(Kind::kHeld, "undone", 3, "refused", "a");
  about(Kind::kWithdrawn, "undone", 3, "", "a");
  EXPECT_EQ(come_back(), 9U);
  EXPECT_EQ(legs("landed"), "1 landed, 2 accepted, 3 accepted") << "one after the other";
  EXPECT_EQ(legs("open"), "1 accepted, 2 accepted, 3 accepted");
  EXPECT_EQ(legs("held"), "1 superseded, 2 accepted, 3 accepted");
  EXPECT_EQ(legs("corrected"), "1 landed, 3 accepted, 4 accepted");
  EXPECT_EQ(legs("undone"), "1 landed, 2 accepted") << "a person gave the last one up";
  EXPECT_EQ(legs("given-up"), "1 withdrawn") << "a person wanted nothing of it there";
  EXPECT_EQ(legs("whole"), "1 landed");
  EXPECT_EQ(legs("new"), "") << "what came only meanwhile is not sent";
  EXPECT_EQ(come_back(), 0U) << "once is enough";
  const auto found = world_.store->legs("open");
  EXPECT_LT(found->back().accepted, found->back().changed) << "it keeps its place in the order";
  EXPECT_TRUE(world_.store->check_fold(10)->empty());
}

// What is taken back on one chart is what is entered on the other.
TEST_F(AwayTest, BothHalvesOfAMoveGoThereWhenATargetComesBack) {
  start("a,b");
  accept("wrong", 1, "a,b");
  about(Kind::kLanded, "wrong", 1);
  start("a");
  accept("elsewhere", 1, "a");
  for (const std::string session : {"wrong", "elsewhere"}) {
    accept(session, 2, "a", journal::kMovedAway);
    accept(session + "-moved", 1, "a", journal::kMovedHere);
  }
  accept("wrong-moved", 2, "a");
  EXPECT_EQ(come_back(), 3U);
  EXPECT_EQ(legs("wrong"), "1 landed, 2 accepted");
  EXPECT_EQ(legs("wrong-moved"), "1 accepted, 2 accepted");
  EXPECT_EQ(legs("elsewhere-moved"), "") << "nothing of it was ever there";
  EXPECT_EQ(come_back(), 0U);
}

TEST_F(AwayTest, ACatchUpThatWasBrokenOffIsDoneAgain) {
  start("a,b");
  accept("s", 1, "a,b");
  start("a");
  accept("s", 2, "a");
  const auto since = away_since(*world_.store, "b", world_.clock);
  ASSERT_TRUE(since->has_value());
  EXPECT_EQ(*catch_up(*world_.store, world_.clock, "b", **since, "chartferry"), 1U);
  EXPECT_EQ(come_back(), 0U) << "no start with the target was written, and nothing is doubled";
  EXPECT_EQ(legs("s"), "1 accepted, 2 accepted");
}

TEST_F(AwayTest, ATargetThatWasNeverAwayCostsOneLook) {
  EXPECT_FALSE(away_since(*world_.store, "b", world_.clock)->has_value());
  start("a,b");
  EXPECT_FALSE(away_since(*world_.store, "b", world_.clock)->has_value());
  start("a");
  start("a");
  EXPECT_EQ(**away_since(*world_.store, "b", world_.clock), 2U) << "the first without it";
}

TEST_F(AwayTest, WhatWaitsForATargetThatIsGoneIsTold) {
  start("a,b");
  accept("s", 1, "a,b");
  accept("t", 1, "a,b");
  about(Kind::kHeld, "t", 1, "refused");
  const auto gone = gone_targets(*world_.store->open_counts(), {"a"});
  ASSERT_EQ(gone.size(), 1U);
  EXPECT_EQ(gone[0].name, "b");
  EXPECT_EQ(gone[0].waiting, 1U);
  EXPECT_EQ(gone[0].held, 1U);
  EXPECT_TRUE(gone_targets(*world_.store->open_counts(), {"a", "b"}).empty());
}

TEST_F(AwayTest, WhatWaitsForATargetThatIsGoneMayBeGivenUp) {
  accept("s", 1, "a,b");
  intake::SteerRequest request;
  request.action = intake::Steer::kWithdraw;
  request.session = "s";
  request.target = "b";
  request.actor = "Robin Sample";
  request.why = "that server is no more";
  request.targets = {"a", "b"};
  EXPECT_EQ(intake::steer(*world_.store, request).error().code, base::ErrorCode::kNotFound)
      << "it is configured: what waits is sent";
  request.targets = {"a"};
  accept("s", 2, "a,b");
  EXPECT_EQ(intake::steer(*world_.store, request).error().code, base::ErrorCode::kConflict);
  for (const std::uint32_t revision : {1U, 2U}) {
    request.revision = revision;
    auto change = intake::steer(*world_.store, request);
    ASSERT_TRUE(change.has_value());
    world_.write(std::move(*change));
  }
  EXPECT_EQ(legs("s"), "1 withdrawn, 2 withdrawn");
  request.action = intake::Steer::kRelease;
  EXPECT_FALSE(intake::steer(*world_.store, request).has_value());
}

}  // namespace
}  // namespace engine::delivery
