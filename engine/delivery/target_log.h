#pragma once
// How each target did last, for the people who watch: the last landing, and the last time that it
// did not go well. Codes and times only. Kept in memory from the records as they are written; a new
// engine reads the last limits::kTargetLookBack records of the journal. Thread safe.

#include <map>
#include <mutex>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::delivery {

class TargetLog {
 public:
  struct Last {
    std::string landing;  // FHIR instant; "": none
    std::string error;    // likewise
    std::string code;     // the reason of that error
    int status = 0;       // and its HTTP status; 0: no answer
  };

  // Errors: of the store.
  base::Result<void> look_back(const journal::Store& store);
  // A listener of the journal.
  void wrote(const std::vector<journal::Outcome>& outcomes);
  Last last(std::string_view target) const;

 private:
  void note(const journal::Record& record);
  mutable std::mutex mutex_;
  std::map<std::string, Last, std::less<>> last_;
};

}  // namespace engine::delivery
