#include "engine/cli/body_retention.h"

#include <string>
#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/engine_parts.h"
#include "engine/cli/files.h"
#include "engine/cli/read_file.h"

namespace engine::cli {

namespace {

constexpr std::chrono::minutes kNearly{30};
constexpr std::chrono::hours kTellAgain{24};

}  // namespace

BodyRetention::BodyRetention(journal::Journal& journal, const base::Clock& clock,
                             journal::Retention kept, const std::string& files, std::string newest)
    : journal_(journal),
      clock_(clock),
      kept_(kept),
      clock_file_(files + journal::kClockFile),
      believed_(newest.empty() ? base::to_instant(clock.now()) : std::move(newest)),
      next_(clock.steady()) {}

base::Result<void> BodyRetention::keep(std::string believed) {
  believed_ = std::move(believed);
  return write_file(clock_file_, believed_ + "\n");
}

// Each engine of a journal keeps this up, also those that remove nothing just now.
bool BodyRetention::believes_clock() {
  const auto text = read_file(clock_file_);
  const bool kept =
      text && !text->empty() && journal::is_instant(text->substr(0, text->size() - 1));
  if (kept) {
    believed_ = text->substr(0, text->size() - 1);
  }
  const auto now = clock_.now();
  const bool believable = journal::is_believable(believed_, now);
  // Also while it is not: after another start the newest record has the time of this clock.
  base::Result<void> written;
  if (believable && base::to_instant(now - kNearly) > believed_) {
    written = keep(base::to_instant(now));
  } else if (!kept) {
    written = keep(believed_);
  }
  if (believable && written) {
    waits_ = false;
    return true;
  }
  if (!waits_ || clock_.steady() - told_ >= kTellAgain) {
    say("retention-waits",
        "what=\"" +
            (written ? "the clock says " + base::to_instant(now) + " and was last believed at " +
                           believed_ + ": no body is removed until a person runs journal expire"
                     : written.error().text()) +
            "\"");
    told_ = clock_.steady();
  }
  waits_ = true;
  return false;
}

base::Result<void> believe_clock(const std::string& files, const base::Clock& clock) {
  return write_file(files + journal::kClockFile, base::to_instant(clock.now()) + "\n");
}

void BodyRetention::look() {
  if (clock_.steady() < next_) {
    return;
  }
  next_ = clock_.steady() + base::limits::kRetentionLook;
  if (!believes_clock() || !journal_.store().mine("retention")) {
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
