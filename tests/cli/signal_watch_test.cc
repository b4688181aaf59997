#include "engine/cli/signal_watch.h"

#include <chrono>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <memory>
#include <string>

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include "engine/cli/end_watch.h"

namespace engine::cli {
namespace {

using std::chrono::milliseconds;

// In a process of its own, whose threads all leave the signals to the watch.
class SignalWatchDeathTest : public ::testing::Test {
 protected:
  SignalWatchDeathTest() { ::testing::FLAGS_gtest_death_test_style = "threadsafe"; }
};

[[noreturn]] void wait_for_a_writer_that_never_comes() {
  const std::string pipe =
      (std::filesystem::temp_directory_path() / ("chartferry-pipe-" + std::to_string(::getpid())))
          .string();
  ::mkfifo(pipe.c_str(), 0600);
  SignalWatch::block();
  std::unique_ptr<EndWatch> last;
  const SignalWatch signals([&last, &pipe] {
    last = std::make_unique<EndWatch>(milliseconds(50), [&pipe] {
      ::unlink(pipe.c_str());  // not before it was opened
      std::_Exit(7);
    });
  });
  ::kill(::getpid(), SIGTERM);
  ::open(pipe.c_str(), O_RDONLY);
  std::_Exit(1);
}

TEST_F(SignalWatchDeathTest, EndsAProgramThatWaitsForAFile) {
  EXPECT_EXIT(wait_for_a_writer_that_never_comes(), ::testing::ExitedWithCode(7), "");
}

[[noreturn]] void take_signals() {
  SignalWatch::block();
  int ends = 0;
  {
    SignalWatch signals([&ends] { ++ends; });
    const bool none = signals.wait(milliseconds(1)) == 0;
    ::kill(::getpid(), SIGHUP);
    const bool look = signals.wait(milliseconds(10'000)) == SIGHUP;
    const bool once = signals.wait(milliseconds(1)) == 0;
    ::kill(::getpid(), SIGINT);
    const bool end = signals.wait(milliseconds(10'000)) == SIGINT;
    ::kill(::getpid(), SIGTERM);
    const bool still = signals.wait(milliseconds(10'000)) == SIGINT;
    if (!none || !look || !once || !end || !still) {
      std::_Exit(1);
    }
  }
  std::_Exit(ends == 1 ? 0 : 2);
}

TEST_F(SignalWatchDeathTest, TellsOfWhatCame) {
  EXPECT_EXIT(take_signals(), ::testing::ExitedWithCode(0), "");
}

}  // namespace
}  // namespace engine::cli
