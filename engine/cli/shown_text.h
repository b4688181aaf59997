#pragma once
// Texts that somebody sent, on a terminal: they must not move it, nor show in another order than
// they say.

#include <string>
#include <string_view>

namespace engine::cli {

// The text with a space for each control character (C0, DEL, C1), each that turns the direction of
// what follows, and each that separates lines. One line.
std::string shown_text(std::string_view text);
// The same, but line feeds and tabs stay.
std::string shown_lines(std::string_view text);
// For what another program gets byte by byte and a terminal as shown_lines().
std::string for_stdout(std::string text);

}  // namespace engine::cli
