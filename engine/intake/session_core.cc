#include "engine/intake/session_core.h"

#include <algorithm>
#include <charconv>
#include <vector>

namespace engine::intake {

namespace {

std::string list_of(const char* member, const std::vector<std::uint32_t>& numbers) {
  std::string out = member;
  for (std::size_t i = 0; i < numbers.size(); ++i) {
    out += (i == 0 ? "" : ",") + std::to_string(numbers[i]);
  }
  return out;
}

constexpr std::string_view kRevisions = " revisions=";
constexpr std::string_view kUnsent = " unsent=";

}  // namespace

std::string made_with(const therapy::Provenance& provenance, const Basis& basis) {
  return "mapping=" + provenance.mapping_set + " profiles=" + provenance.profile_set +
         " settings=" + provenance.settings_set + " computation=" + provenance.computation_version +
         list_of(kRevisions.data(), basis.revisions) +
         (basis.unsent.empty() ? std::string() : list_of(kUnsent.data(), basis.unsent));
}

base::Result<therapy::Moved> SessionCore::move(const therapy::Movable& session,
                                               const therapy::Move& wanted) const {
  static_cast<void>(session), static_cast<void>(wanted);
  return base::Error(base::ErrorCode::kUnsupported, "this core moves no sessions");
}

namespace {

std::vector<std::uint32_t> numbers_at(std::string_view made_with, std::string_view member) {
  std::vector<std::uint32_t> out;
  const std::size_t at = made_with.rfind(member);
  if (at == std::string_view::npos) {
    return out;
  }
  std::string_view rest = made_with.substr(at + member.size());
  rest = rest.substr(0, rest.find(' '));
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

}  // namespace

Basis basis_of(std::string_view made_with) {
  return {numbers_at(made_with, kRevisions), numbers_at(made_with, kUnsent)};
}

}  // namespace engine::intake
