#pragma once
// The text transforms that need no run: truncate and escape.

#include <string>
#include <string_view>

#include "engine/base/result.h"

namespace engine::mapping {

// The first n Unicode scalar values; shorter text is unchanged.
std::string_view first_characters(std::string_view text, std::size_t n);

// From one form to another: "plain", "html" and "xml" (the same five characters), "json", "java".
// Errors: kUnsupported for another form, kInvalid for text that is not in the form it should be.
base::Result<std::string> escape_text(std::string_view text, std::string_view from,
                                      std::string_view to);

}  // namespace engine::mapping
