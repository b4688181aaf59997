#include "engine/cli/body_retention.h"

#include <string>
#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/engine_parts.h"

namespace engine::cli {

void BodyRetention::look() {
  if (clock_.steady() < next_) {
    return;
  }
  next_ = clock_.steady() + base::limits::kRetentionLook;
  if (!journal_.store().mine("retention")) {
    return;
  }
  const std::string cutoff = journal::cutoff_of(kept_, clock_.now());
  journal::Change change;
  change.record.kind = journal::Kind::kExpired;
  change.record.actor = "chartferry " CHARTFERRY_VERSION;
  change.record.why = "bodies are kept no longer than the site's configuration says";
  change.record.reason = "before " + cutoff;
  change.destroy_before = cutoff;
  change.destroy_max = base::limits::kRemovedAtOnceMax;
  const auto outcome = journal_.write(std::move(change));
  if (!outcome) {
    say("not-recorded", "record=expired");
  } else if (outcome->verdict == journal::Outcome::Verdict::kWritten) {
    say("bodies-removed", "record=" + std::to_string(outcome->position) + " before=" + cutoff);
    next_ = clock_.steady();  // there may be more
  }
}

}  // namespace engine::cli
