#include "engine/cli/given_words.h"

#include <algorithm>
#include <array>
#include <cstddef>
#include <string_view>

#include <pwd.h>
#include <unistd.h>

#include "engine/fhir/instant.h"
#include "engine/journal/words.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

// Of the account that runs this; "" when the system has no plain name for it.
std::string account() {
  std::array<char, 16 * 1024> room{};
  passwd entry{};
  passwd* found = nullptr;
  if (::getpwuid_r(::getuid(), &entry, room.data(), room.size(), &found) != 0 || found == nullptr) {
    return {};
  }
  const std::string name(found->pw_name);
  const bool plain = std::all_of(
      name.begin(), name.end(), [](char c) { return c > ' ' && c < 0x7F && c != '(' && c != ')'; });
  return plain ? name : std::string();
}

}  // namespace

Result<void> put_in_utc(std::string& since, std::string& until) {
  for (std::string* one : {&since, &until}) {
    auto utc = fhir::utc_of(*one);
    if (!utc) {
      return std::move(utc).error();
    }
    *one = std::move(*utc);
  }
  return {};
}

Result<void> check_identifier(const std::string& text, const char* whose) {
  const std::size_t bar = text.find('|');
  if (text.empty() || (bar != std::string::npos && bar + 1 < text.size())) {
    return {};
  }
  return Error(ErrorCode::kInvalid,
               std::string("a ") + whose + " is given as SYSTEM|VALUE, with a bar between");
}

std::string account_name() {
  const std::string name = account();
  return "user " + (name.empty() ? std::to_string(::getuid()) : name);
}

Result<std::string> actor_of(const std::string& name) {
  if (!journal::says_something(name)) {
    return Error(ErrorCode::kInvalid, "say who you are; it is kept");
  }
  if (auto good = journal::check_line(name); !good) {
    return good.error();
  }
  return journal::command_actor(name, ::getuid(), account());
}

}  // namespace engine::cli
