#pragma once
// The part of verify() that is about keys: the data keys that there are, the master key that they
// are wrapped under, and the key that hides the patients. None of them is in the log; what starts
// and exchanges of keys say of them is.

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/start_marks.h"
#include "engine/journal/store.h"

namespace engine::journal {

using KeysById = std::map<std::string, WrappedKey>;

// What is wrong, one sentence each. `master` was read after `keys`, and both after the records,
// whose last start said `marks`. Errors: kIo.
base::Result<std::vector<std::string>> check_keys(const Store& store, const KeysById& keys,
                                                  const std::string& master,
                                                  const std::optional<StartMarks>& marks);

}  // namespace engine::journal
