#include "engine/journal/words.h"

#include "engine/base/limits.h"
#include "engine/base/utf8.h"

namespace engine::journal {
namespace {

constexpr std::string_view kByCommand = " (command, uid ";

}  // namespace

base::Result<void> check_line(std::string_view text) {
  if (text.size() > base::limits::kPersonWordsBytesMax || !base::is_one_line(text)) {
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

std::string command_actor(std::string_view name, std::uint32_t uid, std::string_view account) {
  std::string actor(name);
  actor.append(kByCommand).append(std::to_string(uid));
  if (!account.empty()) {
    actor.append(" ").append(account);
  }
  return actor + ")";
}

bool goes_by(std::string_view actor, std::string_view name) {
  if (!actor.starts_with(name)) {
    return false;
  }
  const std::string_view rest = actor.substr(name.size());
  // The last bracket is the system's word, whatever the name before it holds.
  return rest.empty() || (rest.starts_with(kByCommand) && rest.find('(', 2) == rest.npos);
}

}  // namespace engine::journal
