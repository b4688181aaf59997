#pragma once
// Bundles as text: what is the same in two of them need not be read. For this folder.

#include <string>

namespace engine::replay {

// Takes from both Bundles the entries that the other has too, byte for byte; what stays is JSON
// as before. Leaves both alone when one of them is no compact JSON with an array "entry".
void keep_entries_that_differ(std::string& before, std::string& after);

}  // namespace engine::replay
