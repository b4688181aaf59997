#include "engine/people/gate.h"

#include <atomic>
#include <chrono>
#include <future>
#include <memory>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "engine/people/secrets.h"
#include "engine/people/sign_ins.h"
#include "engine/people/tries.h"

namespace engine::people {
namespace {

namespace limits = base::limits;
using std::chrono::seconds;
using Time = std::chrono::steady_clock::time_point;
using Verdict = Gate::Outcome::Verdict;

// "password" with the salt "somesalt", cheap: test vector of the Argon2 reference implementation
// (src/test.c, Argon2id version 19, 256 KiB).
constexpr const char* kPublished =
    "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4";

class StillClock final : public base::Clock {
 public:
  std::chrono::system_clock::time_point now() const override { return {}; }
  Time steady() const override { return Time(passed_.load()); }
  void pass(seconds time) { passed_ = passed_.load() + time; }

 private:
  std::atomic<seconds> passed_{seconds(1'000'000)};
};

class CountingRandom final : public base::Random {
 public:
  void fill(std::span<std::uint8_t> bytes) override {
    for (std::uint8_t& byte : bytes) {
      byte = static_cast<std::uint8_t>(next_ & 0xFFU);
    }
    ++next_;
  }

 private:
  std::atomic<unsigned> next_{1};
};

People staff(const std::string& lines) {
  auto people = People::parse("chartferry-people 1\n" + lines, "staff");
  EXPECT_TRUE(people.has_value()) << (people ? "" : people.error().text());
  return std::move(*people);
}

class GateTest : public ::testing::Test {
 protected:
  Gate::Outcome sign_in(const std::string& name, const std::string& password,
                        const std::string& address = "192.0.2.1") {
    std::promise<Gate::Outcome> told;
    gate_->sign_in({name, password, address},
                   [&told](Gate::Outcome outcome) { told.set_value(std::move(outcome)); });
    return told.get_future().get();
  }
  const std::string token_ = std::string(64, '7');
  const std::string lines_ = std::string("person robin therapist ") + kPublished +
                             " Robin Sample\nperson sam engineer - Sam Specimen\n" +
                             "system ward sender " + keep_secret(token_) + " Ward charting\n";
  StillClock clock_;
  CountingRandom random_;
  std::unique_ptr<Gate> gate_ = std::make_unique<Gate>(staff(lines_), clock_, random_);
};

TEST_F(GateTest, KnowsWhoSignedInUntilTheySignOut) {
  const Gate::Outcome outcome = sign_in("robin", "password");
  ASSERT_EQ(outcome.verdict, Verdict::kIn);
  EXPECT_EQ(outcome.person.display, "Robin Sample");
  EXPECT_EQ(outcome.secret.size(), 64U);
  ASSERT_TRUE(gate_->signed_in(outcome.secret).has_value());
  EXPECT_EQ(gate_->signed_in(outcome.secret)->name, "robin");
  EXPECT_FALSE(gate_->system(outcome.secret).has_value()) << "a cookie is no token";
  const Gate::Outcome other = sign_in("robin", "password");
  EXPECT_NE(other.secret, outcome.secret);
  gate_->sign_out(outcome.secret);
  EXPECT_FALSE(gate_->signed_in(outcome.secret).has_value());
  EXPECT_TRUE(gate_->signed_in(other.secret).has_value()) << "the other device stays";
}

TEST_F(GateTest, RefusesWhoIsNotThere) {
  for (const auto& [name, password] :
       std::vector<std::pair<std::string, std::string>>{{"robin", "passwore"},
                                                        {"robin", ""},
                                                        {"nobody", "password"},
                                                        {"", ""},
                                                        {"sam", "-"},
                                                        {"sam", ""},
                                                        {"ward", token_}}) {
    const Gate::Outcome outcome = sign_in(name, password);
    EXPECT_EQ(outcome.verdict, Verdict::kWrong) << name;
    EXPECT_EQ(outcome.secret, "") << name;
    EXPECT_EQ(outcome.person.name, name == "robin" ? "robin" : "") << "whose password was tried";
  }
  EXPECT_FALSE(gate_->signed_in("").has_value());
  EXPECT_FALSE(gate_->signed_in(std::string(64, '0')).has_value());
}

TEST_F(GateTest, KnowsASystemByItsTokenOnly) {
  ASSERT_TRUE(gate_->system(token_).has_value());
  EXPECT_EQ(gate_->system(token_)->name, "ward");
  EXPECT_FALSE(gate_->system(keep_secret(token_)).has_value()) << "what is kept is no token";
  EXPECT_FALSE(gate_->system("").has_value());
  EXPECT_FALSE(gate_->signed_in(token_).has_value());
}

TEST_F(GateTest, ALookKeepsNobodySignedIn) {
  const std::string secret = sign_in("robin", "password").secret;
  clock_.pass(limits::kSignInIdle - seconds(1));
  EXPECT_TRUE(gate_->signed_in(secret, Gate::Use::kLook).has_value());
  clock_.pass(seconds(1));
  EXPECT_FALSE(gate_->signed_in(secret, Gate::Use::kLook).has_value());
  const std::string other = sign_in("robin", "password").secret;
  clock_.pass(limits::kSignInIdle - seconds(1));
  EXPECT_TRUE(gate_->signed_in(other).has_value());
  clock_.pass(seconds(1));
  EXPECT_TRUE(gate_->signed_in(other, Gate::Use::kLook).has_value()) << "that one was a use";
}

TEST_F(GateTest, EndsWithTheFile) {
  const std::string first = sign_in("robin", "password").secret;
  gate_->renew(staff(lines_));
  EXPECT_TRUE(gate_->signed_in(first).has_value()) << "nothing has changed";
  gate_->renew(staff("person robin auditor " + std::string(kPublished) + " Robin Sample\n"));
  EXPECT_TRUE(gate_->signed_in(first)->roles.has(Role::kAuditor)) << "another role, at once";
  EXPECT_FALSE(gate_->system(token_).has_value());
  const auto changed = keep_password("another password");
  gate_->renew(staff("person robin auditor " + *changed + " Robin Sample\n"));
  EXPECT_FALSE(gate_->signed_in(first).has_value()) << "another password";
  const std::string second = sign_in("robin", "another password").secret;
  EXPECT_TRUE(gate_->signed_in(second).has_value());
  gate_->renew(staff(""));
  EXPECT_FALSE(gate_->signed_in(second).has_value()) << "not there any more";
}

TEST_F(GateTest, BoundsGuessingAndForgivesAfterTheWindow) {
  for (std::uint32_t i = 0; i < limits::kTriesOfPairMax; ++i) {
    EXPECT_EQ(sign_in("robin", "guess").verdict, Verdict::kWrong);
  }
  const Gate::Outcome outcome = sign_in("robin", "password");
  EXPECT_EQ(outcome.verdict, Verdict::kTooMany) << "also for the right one";
  EXPECT_EQ(outcome.wait, limits::kTriesWindow);
  EXPECT_EQ(sign_in("robin", "password", "192.0.2.2").verdict, Verdict::kIn) << "elsewhere";
  clock_.pass(limits::kTriesWindow - seconds(1));
  EXPECT_EQ(sign_in("robin", "password").verdict, Verdict::kTooMany);
  clock_.pass(seconds(1));
  EXPECT_EQ(sign_in("robin", "password").verdict, Verdict::kIn);
}

TEST_F(GateTest, ARightPasswordDoesNotCount) {
  for (std::uint32_t i = 0; i < 2 * limits::kTriesOfPairMax; ++i) {
    ASSERT_EQ(sign_in("robin", "password").verdict, Verdict::kIn) << i;
  }
}

TEST_F(GateTest, TellsThoseWhoWaitWhenItEnds) {
  std::atomic<int> told{0};
  std::atomic<int> busy{0};
  // From as many addresses and names: it is the queue that is full, not a bound of tries.
  const int many = static_cast<int>(limits::kPasswordQueueMax) + 4;
  for (int i = 0; i < many; ++i) {
    gate_->sign_in({"name" + std::to_string(i), "x", "address" + std::to_string(i)},
                   [&](Gate::Outcome outcome) {
                     busy += outcome.verdict == Verdict::kBusy ? 1 : 0;
                     ++told;
                   });
  }
  EXPECT_GE(busy.load(), 1) << "more than fit into the queue";
  gate_.reset();
  EXPECT_EQ(told.load(), many);
}

TEST_F(GateTest, WhoSendsTheMostPasswordsMakesRoomForOthers) {
  std::string lines = lines_;
  for (int i = 0; i < 40; ++i) {
    lines += "person p" + std::to_string(i) + " therapist " + kPublished + " Sample\n";
  }
  gate_ = std::make_unique<Gate>(staff(lines), clock_, random_);
  std::promise<void> go_on;
  std::promise<void> blocked;
  gate_->sign_in({"robin", "password", "192.0.2.99"}, [&](const Gate::Outcome&) {
    blocked.set_value();
    go_on.get_future().wait();
  });
  blocked.get_future().wait();  // from here on nothing leaves the queue
  std::atomic<int> busy{0};
  std::atomic<int> wrong{0};
  const auto count = [&](const Gate::Outcome& outcome) {
    busy += outcome.verdict == Verdict::kBusy ? 1 : 0;
    wrong += outcome.verdict == Verdict::kWrong ? 1 : 0;
  };
  const int most = static_cast<int>(limits::kPasswordQueueMax);
  for (int i = 0; i < most; ++i) {
    // Four networks; what differs in the last 64 bits of IPv6 is one subscriber all the same.
    const std::string address =
        i % 4 == 0 ? "2001:db8::" + std::to_string(i + 1) : "192.0.2." + std::to_string(i % 4);
    gate_->sign_in({"p" + std::to_string(i), "wrong", address}, count);
  }
  EXPECT_EQ(busy.load(), 0);
  gate_->sign_in({"p38", "wrong", "2001:db8::ffff"}, count);
  EXPECT_EQ(busy.load(), 1) << "of those who have the most, another one makes no room";
  std::promise<Gate::Outcome> told;
  gate_->sign_in({"p39", "password", "198.51.100.7"},
                 [&](Gate::Outcome outcome) { told.set_value(std::move(outcome)); });
  EXPECT_EQ(busy.load(), 2) << "one of them";
  go_on.set_value();
  EXPECT_EQ(told.get_future().get().verdict, Verdict::kIn);
  EXPECT_EQ(wrong.load(), most - 1);
}

TEST(Tries, CountsWhatOneSubscriberHasAsOneAddress) {
  Tries tries("salt");
  const Time now(seconds(5'000));
  for (std::uint32_t i = 0; i < limits::kTriesOfPairMax; ++i) {
    EXPECT_FALSE(tries.begin("robin", "2001:db8:0:1::" + std::to_string(i), now).has_value());
  }
  EXPECT_TRUE(tries.begin("robin", "2001:db8:0:1:ffff::1", now).has_value());
  EXPECT_FALSE(tries.begin("robin", "2001:db8:0:2::1", now).has_value()) << "another subscriber";
  tries.forgive("robin", "2001:db8:0:1::77", now);
  EXPECT_FALSE(tries.begin("robin", "2001:db8:0:1::78", now).has_value());
}

TEST(Tries, BoundsANameFromAnywhereAndAnAddress) {
  Tries tries("salt");
  const Time now(seconds(5'000));
  for (std::uint32_t i = 0; i < limits::kTriesOfNameMax; ++i) {
    EXPECT_FALSE(tries.begin("robin", "a" + std::to_string(i), now).has_value()) << i;
  }
  EXPECT_EQ(tries.begin("robin", "another", now), limits::kTriesWindow);
  for (std::uint32_t i = 0; i < limits::kTriesOfAddressMax; ++i) {
    EXPECT_FALSE(tries.begin("n" + std::to_string(i), "b", now).has_value()) << i;
  }
  EXPECT_TRUE(tries.begin("last", "b", now + seconds(10)).has_value());
  EXPECT_EQ(*tries.begin("last", "b", now + seconds(10)), limits::kTriesWindow - seconds(10));
  EXPECT_FALSE(tries.begin("last", "b", now + limits::kTriesWindow).has_value());
}

TEST(Tries, ARefusedTryCountsForNothing) {
  Tries tries("salt");
  const Time now(seconds(5'000));
  for (std::uint32_t i = 0; i < limits::kTriesOfPairMax; ++i) {
    EXPECT_FALSE(tries.begin("robin", "a", now).has_value());
  }
  for (std::uint32_t i = 0; i < 2 * limits::kTriesOfNameMax; ++i) {
    EXPECT_TRUE(tries.begin("robin", "a", now).has_value());
  }
  EXPECT_FALSE(tries.begin("robin", "b", now).has_value()) << "nobody locks another one out alone";
  tries.forgive("robin", "a", now);
  EXPECT_FALSE(tries.begin("robin", "a", now).has_value());
  EXPECT_TRUE(tries.begin("robin", "a", now).has_value());
}

TEST(SignIns, EndByTheirLengthAndByLyingIdle) {
  SignIns sign_ins;
  const Time begun(seconds(5'000));
  sign_ins.add("idle", {"robin", ""}, begun);
  EXPECT_TRUE(sign_ins.find("idle", begun + limits::kSignInIdle - seconds(1)).has_value());
  EXPECT_TRUE(sign_ins.find("idle", begun + 2 * limits::kSignInIdle - seconds(2)).has_value());
  EXPECT_FALSE(sign_ins.find("idle", begun + 3 * limits::kSignInIdle - seconds(2)).has_value());
  sign_ins.add("long", {"robin", ""}, begun);
  for (seconds at(0); at < limits::kSignInLifetime; at += limits::kSignInIdle / 2) {
    EXPECT_TRUE(sign_ins.find("long", begun + at).has_value()) << at.count();
  }
  EXPECT_FALSE(sign_ins.find("long", begun + limits::kSignInLifetime).has_value());
  EXPECT_EQ(sign_ins.size(), 0U);
}

TEST(SignIns, AreSoManyOfOneAndSoManyInAll) {
  SignIns sign_ins;
  const Time now(seconds(5'000));
  for (std::size_t i = 0; i <= limits::kSignInsOfOneMax; ++i) {
    sign_ins.add("r" + std::to_string(i), {"robin", ""}, now + seconds(i));
  }
  EXPECT_EQ(sign_ins.size(), limits::kSignInsOfOneMax);
  EXPECT_FALSE(sign_ins.find("r0", now + seconds(20)).has_value()) << "the least used one ended";
  EXPECT_TRUE(sign_ins.find("r1", now + seconds(20)).has_value());
  for (std::size_t i = sign_ins.size(); i < limits::kSignInsMax; ++i) {
    sign_ins.add("o" + std::to_string(i), {"other" + std::to_string(i), ""}, now + seconds(20));
  }
  EXPECT_EQ(sign_ins.size(), limits::kSignInsMax);
  sign_ins.add("one more", {"more", ""}, now + seconds(21));
  EXPECT_EQ(sign_ins.size(), limits::kSignInsMax);
  EXPECT_TRUE(sign_ins.find("one more", now + seconds(21)).has_value());
}

}  // namespace
}  // namespace engine::people
