#pragma once
// Who has been shown which ward list: a page asks for it every minute, and the journal notes each
// caller's first look at each state of the list, not every minute of a shift. Thread safe.

#include <map>
#include <mutex>
#include <string>
#include <string_view>

#include "engine/base/hash.h"
#include "engine/base/limits.h"

namespace engine::web {

class WardReads {
 public:
  // Whether this caller's look at this list is noted already.
  bool noted(const std::string& caller, std::string_view list) const {
    const std::lock_guard lock(mutex_);
    const auto seen = seen_.find(caller);
    return seen != seen_.end() && seen->second == base::sha256(list);
  }
  void note(const std::string& caller, std::string_view list) {
    const std::lock_guard lock(mutex_);
    if (seen_.size() >= base::limits::kPeopleMax) {
      seen_.clear();  // some looks are noted once more
    }
    seen_.insert_or_assign(caller, base::sha256(list));
  }

 private:
  mutable std::mutex mutex_;
  std::map<std::string, base::Digest> seen_;
};

}  // namespace engine::web
