#include "engine/cli/side_work.h"

#include <chrono>
#include <future>
#include <string>

#include <gtest/gtest.h>

namespace engine::cli {
namespace {

using Told = base::Result<std::string>;

TEST(SideWorkTest, RunsOneAndRefusesASecondUntilItHasEnded) {
  SideWork side;
  std::promise<void> may_end;
  std::promise<std::string> first;
  side.run(
      [&]() -> Told {
        may_end.get_future().wait();
        return std::string("made");
      },
      [&](const Told& told) { first.set_value(*told); });
  base::ErrorCode refused{};
  side.run([]() -> Told { return std::string("never"); },
           [&](const Told& told) { refused = told.error().code; });
  EXPECT_EQ(refused, base::ErrorCode::kConflict);
  EXPECT_FALSE(side.wait(std::chrono::milliseconds(1)));
  may_end.set_value();
  EXPECT_EQ(first.get_future().get(), "made");
  ASSERT_TRUE(side.wait(std::chrono::seconds(60)));
  std::promise<Told> second;
  side.run([]() -> Told { return std::string("again"); },
           [&](Told told) { second.set_value(std::move(told)); });
  EXPECT_EQ(*second.get_future().get(), "again");
}

TEST(SideWorkTest, ErrorsOfTheWorkAreAnswered) {
  std::promise<Told> answer;
  {
    SideWork side;
    side.run([]() -> Told { return base::Error(base::ErrorCode::kPeer, "no answer"); },
             [&](Told told) { answer.set_value(std::move(told)); });
  }  // waits for it
  EXPECT_EQ(answer.get_future().get().error().detail, "no answer");
}

}  // namespace
}  // namespace engine::cli
