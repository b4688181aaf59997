#pragma once
// UTF-8 (RFC 3629): validity and counting. Overlong forms, surrogates and values over U+10FFFF are
// invalid.

#include <cstddef>
#include <optional>
#include <string_view>

namespace engine::base {

// Offset of the first byte that does not belong to a valid sequence; nullopt when all is well.
std::optional<std::size_t> find_invalid_utf8(std::string_view text);

// Unicode scalar values in valid UTF-8.
std::size_t count_scalars(std::string_view text);

}  // namespace engine::base
