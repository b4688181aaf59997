#pragma once
// Whether a log that somebody follows is still the one that was followed. A database that took over
// from another may lack the last records; what is written then has positions that were seen before.
// Belongs to one thread.

#include <cstddef>
#include <deque>
#include <optional>
#include <string>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::journal {

class LogMarks {
 public:
  // Looks at the log's end and remembers it. The last position that is known to be as it was, when
  // what was seen behind it is not there any more or is another one; nullopt while the log only
  // grew. Errors: of the store; then as if nobody had looked.
  base::Result<std::optional<Position>> look(const Store& store);
  // The log's end as the last look saw it. Who reads no further has read nothing whose loss the
  // next look does not find.
  Position end() const { return marks_.empty() ? 0 : marks_.back().position; }

 private:
  static constexpr std::size_t kMarksMax = 256;
  struct Mark {
    Position position = 0;
    std::string head;
  };
  std::deque<Mark> marks_;
};

}  // namespace engine::journal
