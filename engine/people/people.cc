#include "engine/people/people.h"

#include <algorithm>
#include <array>
#include <utility>

#include "engine/base/limits.h"
#include "engine/base/utf8.h"
#include "engine/people/secrets.h"

namespace engine::people {
namespace {

using base::Error;
using base::ErrorCode;

constexpr std::string_view kFirstLine = "chartferry-people 1";
constexpr std::string_view kNoSecret = "-";

bool is_name(std::string_view name) {
  return !name.empty() && name.size() <= base::limits::kPersonNameBytesMax && name.front() >= 'a' &&
         name.front() <= 'z' && std::all_of(name.begin(), name.end(), [](char c) {
           return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' || c == '.';
         });
}

bool is_display(std::string_view text) {
  return !text.empty() && text.size() <= base::limits::kPersonDisplayBytesMax &&
         !base::find_invalid_utf8(text) && text.front() != ' ' && text.back() != ' ' &&
         std::none_of(text.begin(), text.end(),
                      [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7F; });
}

base::Result<void> check_secret(const Entry& entry) {
  const bool good = entry.system ? is_kept_secret(entry.secret)
                                 : entry.secret.empty() || is_kept_password(entry.secret);
  if (!good) {
    return Error(ErrorCode::kInvalid,
                 entry.system ? "of a system's token 'sha256:' and 64 hexadecimal digits are kept"
                              : "of a password its Argon2id text ('$argon2id$v=19$m=...') is kept, "
                                "or '-' when there is none",
                 entry.name);
  }
  return {};
}

base::Result<void> check_entry(const Entry& entry) {
  if (!is_name(entry.name)) {
    return Error(ErrorCode::kInvalid,
                 "a name has 1 to " + std::to_string(base::limits::kPersonNameBytesMax) +
                     " small letters, digits, '-' and '.', a letter first",
                 entry.name);
  }
  if (!is_display(entry.display)) {
    return Error(ErrorCode::kInvalid,
                 "as people know it: 1 to " + std::to_string(base::limits::kPersonDisplayBytesMax) +
                     " bytes of UTF-8 without control characters",
                 entry.name);
  }
  const std::vector<Role> roles = entry.roles.list();
  if (roles.empty() || std::any_of(roles.begin(), roles.end(), [&](Role role) {
        return is_of_systems(role) != entry.system;
      })) {
    return Error(ErrorCode::kInvalid,
                 (entry.system ? "a system's roles are of: " : "a person's roles are of: ") +
                     role_names(entry.system),
                 entry.name);
  }
  return check_secret(entry);
}

// The text up to the next space, which is taken too.
std::string_view take_word(std::string_view& line) {
  const std::size_t space = std::min(line.find(' '), line.size());
  const std::string_view word = line.substr(0, space);
  line.remove_prefix(std::min(space + 1, line.size()));
  return word;
}

base::Result<Entry> parse_line(std::string_view line) {
  Entry entry;
  const std::string_view kind = take_word(line);
  if (kind != "person" && kind != "system") {
    return Error(ErrorCode::kInvalid, "a line begins with 'person' or 'system'");
  }
  entry.system = kind == "system";
  entry.name = take_word(line);
  const auto roles = parse_roles(take_word(line));
  if (!roles) {
    return Error(ErrorCode::kInvalid,
                 (entry.system ? "a system's roles are of: " : "a person's roles are of: ") +
                     role_names(entry.system));
  }
  entry.roles = *roles;
  const std::string_view secret = take_word(line);
  entry.secret = secret == kNoSecret && !entry.system ? std::string_view() : secret;
  if (secret.empty()) {
    return Error(ErrorCode::kInvalid, "a line is: person|system NAME ROLES SECRET DISPLAY");
  }
  entry.display = line;
  return entry;
}

}  // namespace

base::Result<People> People::parse(std::string_view text, const std::string& file) {
  if (text.size() > base::limits::kPeopleBytesMax) {
    return Error(
        ErrorCode::kLimit,
        "a people file has at most " + std::to_string(base::limits::kPeopleBytesMax) + " bytes",
        file);
  }
  People people;
  std::size_t number = 0;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    const std::string_view line = text.substr(0, end);
    text.remove_prefix(std::min(end + 1, text.size()));
    const std::string place = file + ":" + std::to_string(++number);
    if (number == 1) {
      if (line != kFirstLine) {
        return Error(ErrorCode::kInvalid,
                     "a people file begins with '" + std::string(kFirstLine) +
                         "'; `chartferry people add` makes one",
                     place);
      }
      continue;
    }
    auto entry = parse_line(line);
    auto added = entry ? people.add(std::move(*entry)) : base::Result<void>(entry.error());
    if (!added) {
      return Error(added.error().code, added.error().detail, place);
    }
  }
  if (number == 0) {
    return Error(ErrorCode::kInvalid, "the people file is empty; `chartferry people add` makes one",
                 file);
  }
  return people;
}

std::string People::print() const {
  std::string out(kFirstLine);
  out += '\n';
  for (const Entry& entry : entries_) {
    out += entry.system ? "system " : "person ";
    out += entry.name + ' ' + entry.roles.text() + ' ';
    out += entry.secret.empty() ? std::string(kNoSecret) : entry.secret;
    out += ' ' + entry.display + '\n';
  }
  return out;
}

const Entry* People::find(std::string_view name) const {
  const auto at = std::lower_bound(
      entries_.begin(), entries_.end(), name,
      [](const Entry& entry, std::string_view wanted) { return entry.name < wanted; });
  return at != entries_.end() && at->name == name ? &*at : nullptr;
}

// Compares hashes only: how long that takes tells nothing of a token.
const Entry* People::find_system(std::string_view kept_secret) const {
  const auto at = std::find_if(entries_.begin(), entries_.end(), [&](const Entry& entry) {
    return entry.system && entry.secret == kept_secret;
  });
  return at != entries_.end() ? &*at : nullptr;
}

base::Result<void> People::add(Entry entry) {
  if (auto good = check_entry(entry); !good) {
    return good;
  }
  if (find(entry.name) != nullptr) {
    return Error(ErrorCode::kConflict, "the name is taken", entry.name);
  }
  if (entries_.size() >= base::limits::kPeopleMax) {
    return Error(ErrorCode::kLimit, "a people file has at most " +
                                        std::to_string(base::limits::kPeopleMax) + " lines");
  }
  const auto at =
      std::lower_bound(entries_.begin(), entries_.end(), entry.name,
                       [](const Entry& one, const std::string& name) { return one.name < name; });
  entries_.insert(at, std::move(entry));
  return {};
}

base::Result<void> People::remove(std::string_view name) {
  const Entry* entry = find(name);
  if (entry == nullptr) {
    return Error(ErrorCode::kNotFound, "there is nobody of this name", std::string(name));
  }
  entries_.erase(entries_.begin() + (entry - entries_.data()));
  return {};
}

base::Result<void> People::set_secret(std::string_view name, std::string secret) {
  const Entry* entry = find(name);
  if (entry == nullptr) {
    return Error(ErrorCode::kNotFound, "there is nobody of this name", std::string(name));
  }
  Entry changed = *entry;
  changed.secret = std::move(secret);
  if (auto good = check_secret(changed); !good) {
    return good;
  }
  entries_[static_cast<std::size_t>(entry - entries_.data())] = std::move(changed);
  return {};
}

}  // namespace engine::people
