#include "engine/journal/words.h"

#include <algorithm>

#include "engine/base/limits.h"
#include "engine/base/utf8.h"

namespace engine::journal {

base::Result<void> check_line(std::string_view text) {
  const bool plain = std::all_of(text.begin(), text.end(), [](char c) {
    return static_cast<unsigned char>(c) >= 0x20 && c != 0x7F;
  });
  if (!plain || text.size() > base::limits::kPersonWordsBytesMax ||
      base::find_invalid_utf8(text).has_value()) {
    return base::Error(base::ErrorCode::kInvalid,
                       "say it in one line of at most 1000 bytes, without control characters");
  }
  return {};
}

base::Result<void> check_words(std::string_view who, std::string_view why) {
  if (who.empty() || why.empty()) {
    return base::Error(base::ErrorCode::kInvalid, "say who you are and why; both are kept");
  }
  auto good = check_line(who);
  return good ? check_line(why) : good;
}

}  // namespace engine::journal
