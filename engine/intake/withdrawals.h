#pragma once
// What a revision takes back has to be there: a name that is spelled another way would leave in the
// chart what its sender believes to be gone.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::intake {

// Which of these ids of entries no earlier revision of the session has; nullopt when there is none.
// And when nobody can tell: not every number before this one was taken in, or what was cannot be
// read any more. A phone takes back what it tried to send and what never came. Errors: of the
// store.
base::Result<std::optional<std::size_t>> unknown_entry(const journal::Store& store,
                                                       std::string_view session,
                                                       std::uint32_t revision,
                                                       const std::vector<std::string>& ids);

}  // namespace engine::intake
