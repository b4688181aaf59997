#pragma once
// Texts that somebody sent, on a terminal: they must not move it, nor show in another order than
// they say.

#include <string>
#include <string_view>

namespace engine::cli {

// The text with a space for each control character (C0, DEL, C1) and each that turns the direction
// of what follows. One line.
std::string shown_text(std::string_view text);

}  // namespace engine::cli
