// What a terminal gets of a command's output, however its bytes come in pieces; and the program on
// one.

#include "engine/cli/terminal_guard.h"

#include <array>
#include <cstdlib>
#include <string>

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

namespace engine::cli {
namespace {

struct Row {
  const char* given;
  const char* shown;
};

constexpr Row kRows[] = {
    {"plain\n\tGr\u00FC\u00DFe \u3042", "plain\n\tGr\u00FC\u00DFe \u3042"},
    {"\033[31merror\033[0m of \033[32mtwo\033[0m", "\033[31merror\033[0m of \033[32mtwo\033[0m"},
    {"\033[2J\033[H sound \033[8m", " [2J [H sound  [8m"},
    {"\033[38m \033[3A \033[ 0m \033\033[31m", " [38m  [3A  [ 0m  \033[31m"},
    {"a\rb\x7f\a", "a b  "},
    {"\u009B2J\u009D0;t\u009C \u00A0\u00FF", " 2J 0;t  \u00A0\u00FF"},
    {"\u202Eabc\u2066\u2028 \u2027\u206A", " abc   \u2027\u206A"},
    {"\xE2\033[31m \xC2\033[2J", "\xE2 [31m \xC2 [2J"},
};

TEST(TerminalText, LosesWhatSteersHoweverItIsParted) {
  for (const Row& row : kRows) {
    const std::string given = row.given;
    for (std::size_t first = 0; first <= given.size(); ++first) {
      for (std::size_t second = first; second <= given.size(); ++second) {
        TerminalText text;
        std::string out = text.take(given.substr(0, first));
        out += text.take(given.substr(first, second - first));
        out += text.take(given.substr(second));
        EXPECT_EQ(out, row.shown) << given << " parted at " << first << " and " << second;
      }
    }
  }
}

TEST(TerminalText, KeepsBackOnlyWhatMayBecomeSomethingElse) {
  TerminalText text;
  EXPECT_EQ(text.take("a\033[3"), "a");
  EXPECT_EQ(text.take("1"), "");
  EXPECT_EQ(text.take("m"), "\033[31m");
  EXPECT_EQ(text.take("b\xE2"), "b");
  EXPECT_EQ(text.take("\x80\xAF."), "\u202F.");
}

// All that the program printed there of a code that is none.
std::string on_terminal(const char* code) {
  const int terminal = ::posix_openpt(O_RDWR | O_NOCTTY);
  EXPECT_TRUE(terminal >= 0 && ::grantpt(terminal) == 0 && ::unlockpt(terminal) == 0);
  const int other = ::open(::ptsname(terminal), O_RDWR | O_NOCTTY);
  EXPECT_GE(other, 0);
  const pid_t child = ::fork();
  if (child == 0) {
    ::dup2(other, STDOUT_FILENO);
    ::execl(CHARTFERRY_PROGRAM, CHARTFERRY_PROGRAM, "units", "validate", code, nullptr);
    ::_exit(99);
  }
  ::close(other);
  std::string out;
  std::array<char, 4096> block{};
  for (ssize_t n = 0; (n = ::read(terminal, block.data(), block.size())) > 0;) {
    out.append(block.data(), static_cast<std::size_t>(n));
  }
  ::close(terminal);
  int status = 0;
  ::waitpid(child, &status, 0);
  EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 1) << out;
  return out;
}

TEST(TerminalText, IsWhatTheProgramPrintsOnOne) {
  const std::string out = on_terminal("a\u009B2Jb\u202E");
  EXPECT_NE(out.find("a 2Jb "), std::string::npos) << out;
  EXPECT_EQ(out.find("\u009B"), std::string::npos);
  EXPECT_EQ(out.find("\u202E"), std::string::npos);
}

}  // namespace
}  // namespace engine::cli
