#pragma once
// What a person writes into the journal: who, and why.

#include <cstdint>
#include <string>
#include <string_view>

#include "engine/base/result.h"

namespace engine::journal {

// Whether there is a letter, a digit or a mark in it that somebody can see.
bool says_something(std::string_view text);
// Errors: kInvalid when one is missing or blank, longer than limits::kPersonWordsBytesMax, not
// UTF-8, or has a control character: the log keeps its heads as lines.
base::Result<void> check_words(std::string_view who, std::string_view why);
// The same for a text that may be empty.
base::Result<void> check_line(std::string_view text);

// The actor of what a command did: what the person called themselves, and behind it who the system
// says ran it, "Robin Sample (command, uid 1000 robin)". Anybody can write any name on a command
// line; nobody who signed in is written like this. `account` may be empty.
std::string command_actor(std::string_view name, std::uint32_t uid, std::string_view account);
bool is_of_command(std::string_view actor);
// Whether an actor goes by this name: on a command line what they called themselves, signed in
// ("Robin Sample (robin)") the display or the account. The whole of an actor is such a name too.
bool goes_by(std::string_view actor, std::string_view name);

}  // namespace engine::journal
