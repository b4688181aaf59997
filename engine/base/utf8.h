#pragma once
// UTF-8 (RFC 3629): validity and counting. Overlong forms, surrogates and values over U+10FFFF are
// invalid.

#include <cstddef>
#include <optional>
#include <string_view>

namespace engine::base {

// Offset of the first byte that does not belong to a valid sequence; nullopt when all is well.
std::optional<std::size_t> find_invalid_utf8(std::string_view text);

// Whether a control character stands in it (C0, DEL, C1), or a separator of lines or paragraphs
// (U+2028, U+2029), at which readers of lines part a text too.
bool has_control(std::string_view text);
// Valid, and nothing of that in it.
bool is_one_line(std::string_view text);

// Unicode scalar values in valid UTF-8.
std::size_t count_scalars(std::string_view text);

}  // namespace engine::base
