// Which engines live is judged by what one of them saw itself, on its own steady clock.

#include "engine/journal/postgres_roll.h"

#include <gtest/gtest.h>

namespace engine::journal::postgres {
namespace {

using std::chrono::hours;
using std::chrono::milliseconds;
using std::chrono::seconds;

class RollTest : public ::testing::Test {
 protected:
  // A look each second for so long. `other` beats while it lives.
  void look(seconds time, bool other_lives) {
    for (seconds past{0}; past < time; past += seconds(1)) {
      now_ += seconds(1);
      seen_ += other_lives ? 1 : 0;
      roll_.look(now_, {{"other", seen_, silence_}, {"own", ++own_, milliseconds(0)}});
    }
  }
  bool gone() const { return roll_.gone("other"); }

  Roll roll_;
  Roll::Time now_{hours(1)};
  std::int64_t seen_ = 1;
  std::int64_t own_ = 1;
  milliseconds silence_{0};
};

TEST_F(RollTest, GoneIsWhoSaidNothingForTheLeaseWhileThisOneLooked) {
  look(seconds(200), true);
  EXPECT_FALSE(gone());
  look(seconds(89), false);
  EXPECT_FALSE(gone());
  look(seconds(1), false);
  EXPECT_TRUE(gone());
  look(seconds(1), true);
  EXPECT_FALSE(gone());
}

TEST_F(RollTest, AnOutageIsNobodysSilence) {
  look(seconds(10), true);
  now_ += seconds(600);  // the database is away; this one is the first that is back
  EXPECT_FALSE(roll_.current(now_));
  look(seconds(5), false);
  EXPECT_FALSE(gone());
  look(seconds(84), false);
  EXPECT_FALSE(gone());
  look(seconds(2), false);
  EXPECT_TRUE(gone());
}

TEST_F(RollTest, ALookThatWasInterruptedBeginsAnewForThoseThatWereSilentBefore) {
  look(seconds(10), true);
  look(seconds(80), false);
  now_ += seconds(6);
  look(seconds(80), false);
  EXPECT_FALSE(gone());
  look(seconds(11), false);
  EXPECT_TRUE(gone());
}

TEST_F(RollTest, TheDatabasesClockMayBeSet) {
  look(seconds(10), true);
  silence_ = hours(1);  // set forward
  look(seconds(3), true);
  EXPECT_FALSE(gone());
  silence_ = -hours(1);  // set back: a dead engine's last word lies in the future
  look(seconds(91), false);
  EXPECT_TRUE(gone());
  EXPECT_EQ(roll_.living(), (std::vector<std::string_view>{"own"}));
}

TEST_F(RollTest, CountsWhoWasHeardOfLately) {
  silence_ = hours(24);
  look(seconds(1), false);
  EXPECT_EQ(roll_.living(), (std::vector<std::string_view>{"own"})) << "a row of long ago";
  silence_ = milliseconds(100);
  look(seconds(1), true);
  EXPECT_EQ(roll_.living(), (std::vector<std::string_view>{"other", "own"}));
  look(seconds(4), false);
  EXPECT_EQ(roll_.living().size(), 2U);
  look(seconds(1), false);
  EXPECT_EQ(roll_.living().size(), 1U);
}

TEST_F(RollTest, WhoHasNoRowIsGoneOnceThisOneHasLookedForTheLease) {
  EXPECT_FALSE(roll_.gone("forgotten"));
  look(seconds(90), true);
  EXPECT_FALSE(roll_.gone("forgotten"));
  look(seconds(1), true);
  EXPECT_TRUE(roll_.gone("forgotten"));
}

TEST_F(RollTest, WhoseRowWasTakenAwayIsNotGoneBeforeTheLeaseIsOver) {
  const auto look_without_it = [this](seconds time) {
    for (seconds past{0}; past < time; past += seconds(1)) {
      now_ += seconds(1);
      roll_.look(now_, {{"own", ++own_, milliseconds(0)}});
    }
  };
  look(seconds(200), true);
  look_without_it(seconds(89));
  EXPECT_FALSE(gone());
  look(seconds(1), true);
  look_without_it(seconds(1));
  EXPECT_FALSE(gone()) << "it put its row back meanwhile";
  EXPECT_EQ(roll_.living(), (std::vector<std::string_view>{"own"})) << "it gets no share";
  look_without_it(seconds(89));
  EXPECT_TRUE(gone());
}

}  // namespace
}  // namespace engine::journal::postgres
