#include "tests/cli/program.h"

#include <array>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iterator>

#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

namespace cli_test {
namespace {

std::string shell_word(std::string_view text) {
  std::string out = "'";
  for (const char c : text) {
    out += c == '\'' ? std::string("'\\''") : std::string(1, c);
  }
  return out + "'";
}

// A file of its own for the input: a pipe both ways could fill up and wait for ever.
std::string write_input(std::string_view input) {
  std::string path = testing::TempDir() + "input-XXXXXX";
  const int file = ::mkstemp(path.data());
  EXPECT_GE(file, 0) << path;
  if (file >= 0) {
    ::close(file);
  }
  std::ofstream(path, std::ios::binary)
      .write(input.data(), static_cast<std::streamsize>(input.size()));
  return path;
}

}  // namespace

Answer run_program(const std::vector<std::string>& arguments, std::string_view input) {
  std::string command = shell_word(CHARTFERRY_PROGRAM);
  for (const std::string& argument : arguments) {
    command += ' ' + shell_word(argument);
  }
  const std::string path = write_input(input);
  const std::string said = write_input("");
  command += " < " + shell_word(path) + " 2> " + shell_word(said);
  Answer answer;
  std::FILE* const pipe = ::popen(command.c_str(), "r");
  EXPECT_NE(pipe, nullptr);
  if (pipe == nullptr) {
    return answer;
  }
  std::array<char, 4096> block{};
  for (std::size_t got = 0; (got = std::fread(block.data(), 1, block.size(), pipe)) != 0;) {
    answer.out.append(block.data(), got);
  }
  const int status = ::pclose(pipe);
  std::ifstream errors(said, std::ios::binary);
  answer.err.assign(std::istreambuf_iterator<char>(errors), {});
  ::unlink(path.c_str());
  ::unlink(said.c_str());
  answer.status = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  return answer;
}

std::vector<std::string> lines_of(std::string_view text) {
  std::vector<std::string> lines;
  while (!text.empty()) {
    const std::size_t end = text.find('\n');
    lines.emplace_back(text.substr(0, end));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  }
  return lines;
}

}  // namespace cli_test
