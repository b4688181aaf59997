#pragma once
// What a person writes into the journal: who, and why.

#include <string_view>

#include "engine/base/result.h"

namespace engine::journal {

// Errors: kInvalid when one is missing, longer than limits::kPersonWordsBytesMax, not UTF-8, or has
// a control character: the log keeps its heads as lines.
base::Result<void> check_words(std::string_view who, std::string_view why);
// The same for a text that may be empty.
base::Result<void> check_line(std::string_view text);

}  // namespace engine::journal
