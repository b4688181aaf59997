#include "engine/fhir/pattern.h"

#include <re2/re2.h>

namespace engine::fhir {

std::optional<bool> matches_whole(std::string_view pattern, std::string_view text) {
  RE2::Options options;
  options.set_log_errors(false);
  const RE2 compiled(re2::StringPiece(pattern.data(), pattern.size()), options);
  if (!compiled.ok()) {
    return std::nullopt;
  }
  return RE2::FullMatch(re2::StringPiece(text.data(), text.size()), compiled);
}

}  // namespace engine::fhir
