#pragma once
// The nearest of several names to one that does not exist, for messages.

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace engine::mapping {

// The candidate with the fewest changed letters, when at most a third of the letters (at least one)
// differ; empty otherwise. Upper and lower case count as half a change.
std::string nearest_name(std::string_view wanted, std::span<const std::string_view> candidates);

// "; did you mean 'x'?" or nothing.
std::string did_you_mean(std::string_view wanted, std::span<const std::string_view> candidates);

}  // namespace engine::mapping
