#pragma once
// Regular expressions in linear time (RE2). Look-around and back references, which the
// specification's recommended flavour has, are refused: no engine does them within a bound.
// Internal to the folder.

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include <re2/re2.h>

namespace engine::fhirpath {

// Dot matches a line break, as the published tests want. Flags: i (case), m (^ and $ at lines), s
// (dot, already so). Check ok() of the result.
std::unique_ptr<re2::RE2> compile_regex(std::string_view pattern, std::string_view flags);

// Instructions of its program, which grows with what the pattern repeats.
std::size_t program_size(const re2::RE2& regex);
// What one search of a text costs at most, in steps: every instruction at every byte.
std::size_t search_steps(const re2::RE2& regex, std::size_t bytes);

// Every match replaced; $1, ${name} and $0 in `with` stand for groups. nullopt when the result
// would be longer than limits::kStringBytesMax. `charge` is told how many bytes a search may go
// through: with a repetition that has no end, to the end of the text for each match, however short;
// it may throw.
std::optional<std::string> replace_all(const re2::RE2& regex, std::string_view text,
                                       std::string_view with,
                                       const std::function<void(std::size_t)>& charge);

}  // namespace engine::fhirpath
