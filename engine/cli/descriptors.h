#pragma once
// How many files and connections the system lets the engine have open.

#include <cstddef>

namespace engine::cli {

// As many as the system allows at most (RLIMIT_NOFILE); returns how many these are.
std::size_t raise_descriptors();
// How many connections the port may take with so many descriptors: all that it wants, and never so
// many that the journal could not be opened. Half of them when there are few.
std::size_t connections_with(std::size_t descriptors);

}  // namespace engine::cli
