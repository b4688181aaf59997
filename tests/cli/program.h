#pragma once
// Runs the program with arguments and an input, and takes what it answers.

#include <string>
#include <string_view>
#include <vector>

namespace cli_test {

struct Answer {
  int status = -1;  // exit status; 128 + signal when it was killed
  std::string out;
  std::string err;
};

Answer run_program(const std::vector<std::string>& arguments, std::string_view input = {});

// The lines of a text, without their ends.
std::vector<std::string> lines_of(std::string_view text);

}  // namespace cli_test
