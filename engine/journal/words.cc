#include "engine/journal/words.h"

#include <algorithm>
#include <array>
#include <utility>

#include "engine/base/limits.h"
#include "engine/base/utf8.h"

namespace engine::journal {
namespace {

// What nobody sees: spaces of all widths (Unicode category Zs), and what has none and joins, parts
// or turns (U+00AD, U+200B to U+200F, U+2060 to U+2064, U+FEFF).
constexpr std::array<std::pair<std::string_view, std::string_view>, 9> kBlanks = {{
    {" ", " "},
    {"\xC2\xA0", "\xC2\xA0"},
    {"\xC2\xAD", "\xC2\xAD"},
    {"\xE1\x9A\x80", "\xE1\x9A\x80"},
    {"\xE2\x80\x80", "\xE2\x80\x8F"},
    {"\xE2\x80\xAF", "\xE2\x80\xAF"},
    {"\xE2\x81\x9F", "\xE2\x81\xA4"},
    {"\xE3\x80\x80", "\xE3\x80\x80"},
    {"\xEF\xBB\xBF", "\xEF\xBB\xBF"},
}};

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

bool says_something(std::string_view text) {
  while (!text.empty()) {
    const auto blank = std::find_if(kBlanks.begin(), kBlanks.end(), [text](const auto& range) {
      const std::string_view here = text.substr(0, range.first.size());
      return here >= range.first && here <= range.second;
    });
    if (blank == kBlanks.end()) {
      return true;
    }
    text.remove_prefix(blank->first.size());
  }
  return false;
}

base::Result<void> check_line(std::string_view text) {
  if (text.size() > base::limits::kPersonWordsBytesMax || !base::is_one_line(text)) {
    return base::Error(base::ErrorCode::kInvalid,
                       "say it in one line of at most 1000 bytes, without control characters");
  }
  return {};
}

base::Result<void> check_words(std::string_view who, std::string_view why) {
  if (!says_something(who) || !says_something(why)) {
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
