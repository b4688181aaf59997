#include "engine/journal/words.h"

#include "engine/base/limits.h"
#include "engine/base/utf8.h"

namespace engine::journal {
namespace {

constexpr std::string_view kByCommand = " (command, uid ";

// Under which somebody signed in: the word in the last bracket. Empty of a command's actor, which
// has several there.
std::string_view account_of(std::string_view actor) {
  const std::size_t open = actor.rfind(" (");
  if (open == actor.npos || !actor.ends_with(')')) {
    return {};
  }
  const std::string_view word = actor.substr(open + 2, actor.size() - open - 3);
  return word.find_first_of(" ()") == word.npos ? word : std::string_view();
}

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

bool is_of_command(std::string_view actor) {
  return actor.ends_with(')') && actor.find(kByCommand) != actor.npos;
}

bool goes_by(std::string_view actor, std::string_view name) {
  const std::string_view account = account_of(actor);
  if (!account.empty() && account == name) {
    return true;
  }
  if (!actor.starts_with(name)) {
    return false;
  }
  const std::string_view rest = actor.substr(name.size());
  // The last bracket is the engine's or the system's word, whatever the name before it holds.
  const bool last = rest.rfind('(') == 1;
  return rest.empty() || (last && (!account.empty() || rest.starts_with(kByCommand)));
}

}  // namespace engine::journal
