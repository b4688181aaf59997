#pragma once
// Bounds of time as the journal compares them.

#include <string>

namespace engine::journal {

// Records' times have three digits of a second. Texts are compared, and '.' stands before 'Z': a
// bound without them would lie a second too late for the records of its own second.
std::string bound_of(const std::string& instant);

}  // namespace engine::journal
