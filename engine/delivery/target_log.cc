#include "engine/delivery/target_log.h"

#include "engine/base/limits.h"

namespace engine::delivery {

using journal::Kind;

base::Result<void> TargetLog::look_back(const journal::Store& store) {
  const auto size = store.size();
  if (!size) {
    return size.error();
  }
  const std::size_t back = base::limits::kTargetLookBack;
  const std::lock_guard lock(mutex_);
  return store.scan(*size > back ? *size - back + 1 : 1,
                    [this](journal::Position, std::string_view text, const base::Digest&) {
                      // A damaged record is verify's matter and keeps no engine from starting.
                      if (const auto head = journal::parse_head(text)) {
                        note(head->record);
                      }
                      return true;
                    });
}

void TargetLog::wrote(const std::vector<journal::Outcome>& outcomes) {
  const std::lock_guard lock(mutex_);
  for (const journal::Outcome& outcome : outcomes) {
    if (outcome.verdict == journal::Outcome::Verdict::kWritten) {
      note(outcome.record);
    }
  }
}

// What is held before it was ever sent says nothing about the target: no try has a number there.
void TargetLog::note(const journal::Record& record) {
  if (record.kind == Kind::kLanded) {
    last_[record.target].landing = record.time;
  } else if ((record.kind == Kind::kAnswered || record.kind == Kind::kHeld) && record.attempt > 0) {
    Last& last = last_[record.target];
    last.error = record.time;
    last.code = record.reason;
    last.status = record.status;
  }
}

TargetLog::Last TargetLog::last(std::string_view target) const {
  const std::lock_guard lock(mutex_);
  const auto found = last_.find(target);
  return found == last_.end() ? Last() : found->second;
}

}  // namespace engine::delivery
