#pragma once
// What another engine of the same journal had on its way when it died is sent by this one.

#include <cstddef>

#include "engine/journal/journal.h"

namespace engine::delivery {

// Puts back what nobody sends any more, each as of unknown fate: sending it again is safe. Of
// several engines that see the same one first to write has it. How many were found.
std::size_t take_over(journal::Appender& journal);

}  // namespace engine::delivery
