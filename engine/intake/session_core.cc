#include "engine/intake/session_core.h"

#include <algorithm>
#include <charconv>
#include <vector>

namespace engine::intake {

std::string made_with(const therapy::Provenance& provenance,
                      std::span<const std::uint32_t> revisions) {
  std::string out = "mapping=" + provenance.mapping_set + " profiles=" + provenance.profile_set +
                    " settings=" + provenance.settings_set +
                    " computation=" + provenance.computation_version + " revisions=";
  for (std::size_t i = 0; i < revisions.size(); ++i) {
    out += (i == 0 ? "" : ",") + std::to_string(revisions[i]);
  }
  return out;
}

base::Result<therapy::Moved> SessionCore::move(const therapy::Movable& session,
                                               const therapy::Move& wanted) const {
  static_cast<void>(session), static_cast<void>(wanted);
  return base::Error(base::ErrorCode::kUnsupported, "this core moves no sessions");
}

std::vector<std::uint32_t> revisions_of(std::string_view made_with) {
  constexpr std::string_view kMember = " revisions=";
  std::vector<std::uint32_t> out;
  const std::size_t at = made_with.rfind(kMember);
  if (at == std::string_view::npos) {
    return out;
  }
  std::string_view rest = made_with.substr(at + kMember.size());
  while (!rest.empty()) {
    std::uint32_t number = 0;
    const auto [end, error] = std::from_chars(rest.data(), rest.data() + rest.size(), number);
    if (error != std::errc()) {
      return {};
    }
    out.push_back(number);
    rest.remove_prefix(static_cast<std::size_t>(end - rest.data()));
    rest.remove_prefix(std::min<std::size_t>(1, rest.size()));
  }
  return out;
}

}  // namespace engine::intake
