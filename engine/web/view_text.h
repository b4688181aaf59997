#pragma once
// Members of a JSON object that is being written.

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "engine/journal/store.h"

namespace engine::web {

// Adds a member to the open object at the end of `out`.
void member(std::string& out, std::string_view name, std::string_view value);
void number(std::string& out, std::string_view name, std::uint64_t value);

// Why it is held, and what to do about it.
std::string reason_text(const journal::Leg& leg);

// One leg, and an array of those of a revision: {"target","state","reason","reasonText","attempts",
// "next"}, with "landing" when asked.
std::string leg_view(const journal::Store& store, const journal::Leg& leg, bool with_landing);
std::string legs_view(const journal::Store& store, const std::vector<journal::Leg>& legs,
                      std::uint32_t revision, bool with_landing);

}  // namespace engine::web
