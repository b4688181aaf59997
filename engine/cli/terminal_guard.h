#pragma once
// What the commands print on a terminal, without what would steer it: whatever somebody sent, or
// wrote into a file that a command reads, and whichever line of a command shows it.

#include <string>
#include <string_view>

namespace engine::cli {

// A stream of bytes, in pieces as they come.
class TerminalText {
 public:
  // What may go out of all that came: shown_lines(), but for the colours that a command gives its
  // own words. What may be the start of something longer waits for the next piece.
  std::string take(std::string_view piece);

 private:
  std::string rest_;
};

// From here on, where the standard output is a terminal. To be called once, before anything is
// printed.
void guard_terminal();

}  // namespace engine::cli
